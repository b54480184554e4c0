//! What the decoder crates take as they come: the bytes of the files, a decoder, SHA-256.

use rawler::decoders::RawDecodeParams;
use rawler::rawsource::RawSource;
use rawloader::RawLoader;
use sha2::{Digest, Sha256};
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;
use std::time::Instant;

/// Seconds for all files on as many threads as there are processors, the decoders' camera tables
/// loaded before.
pub fn seconds(files: &[PathBuf]) -> f64 {
    let tables = RawLoader::new();
    // The other decoder's table is loaded when it is first asked.
    decode(&tables, &files[0], Arc::new(std::fs::read(&files[0]).expect("a file of the bench")));
    let next = AtomicUsize::new(0);
    let began = Instant::now();
    thread::scope(|scope| {
        for _ in 0..thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(|| {
                // As in a worker: a decoder must not spread over the others' processors.
                let alone = rayon::ThreadPoolBuilder::new().num_threads(1).build();
                alone.expect("a thread").install(|| {
                    while let Some(path) = files.get(next.fetch_add(1, Ordering::Relaxed)) {
                        let bytes = Arc::new(std::fs::read(path).expect("a file of the bench"));
                        black_box(Sha256::digest(bytes.as_slice()));
                        decode(&tables, path, bytes);
                    }
                });
            });
        }
    });
    began.elapsed().as_secs_f64()
}

/// The decoder that the program chooses too.
fn decode(tables: &RawLoader, path: &Path, bytes: Arc<Vec<u8>>) {
    if path.extension().is_some_and(|e| e.eq_ignore_ascii_case("dng")) {
        let source = RawSource::new_from_shared_vec(bytes);
        let decoder = rawler::get_decoder(&source).expect("a DNG");
        let image = decoder.raw_image(&source, &RawDecodeParams::default(), false);
        black_box(image.expect("a whole DNG"));
    } else {
        black_box(tables.decode(&mut bytes.as_slice(), false).expect("a whole raw file"));
    }
}
