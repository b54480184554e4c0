//! What is written as DNG is read back pixel for pixel.

use lightloss::frame::Samples;
use lightloss::frame::cfa::Cfa;
use lightloss::read::{ReadOptions, read_frame};
use lightloss::tiff::Order;
use lightloss::write::dng::{Compression, DngFile, Pattern};

#[test]
fn both_storages_and_byte_orders_come_back() {
    // Larger than one tile of 256 x 256, and no multiple of it.
    const WIDTH: usize = 600;
    const HEIGHT: usize = 400;
    let data: Vec<u16> =
        (0..WIDTH * HEIGHT).map(|i| ((i * 7919) % 16_381 + i % 5) as u16).collect();
    let folder = tempfile::tempdir().expect("a temporary folder");
    for compression in [Compression::None, Compression::LosslessJpeg] {
        for order in [Order::Little, Order::Big] {
            let cfa = Cfa::from_letters("GBRG").expect("a Bayer phase");
            let mut file = DngFile::new(WIDTH, HEIGHT, data.clone(), Pattern::Mosaic(cfa.clone()));
            file.compression = compression;
            file.order = order;
            file.white = Some(16_383);
            let path = folder.path().join("frame.dng");
            std::fs::write(&path, file.encode().expect("sizes agree")).expect("room");
            let frame = read_frame(&path, "frame.dng", ReadOptions::default())
                .unwrap_or_else(|e| panic!("{compression:?} {order:?}: {e}"));
            let Samples::Raw(mosaic, pattern) = frame.samples else { panic!("a mosaic") };
            assert_eq!(pattern, cfa, "{compression:?} {order:?}");
            assert!(*mosaic.data == data, "{compression:?} {order:?}: other pixels");
        }
    }
}
