//! SHA-256 of two files' blocks, step beside step, on x86-64 processors that have AVX-512 and with it
//! the steps themselves (FIPS 180-4, section 6.2.2, as the processor's makers have cut them up).

use super::{BLOCK, Chunk};

/// FIPS 180-4, section 4.2.2: four rounds a line.
const K: [[u32; 4]; 16] = [
    [0x428a_2f98, 0x7137_4491, 0xb5c0_fbcf, 0xe9b5_dba5],
    [0x3956_c25b, 0x59f1_11f1, 0x923f_82a4, 0xab1c_5ed5],
    [0xd807_aa98, 0x1283_5b01, 0x2431_85be, 0x550c_7dc3],
    [0x72be_5d74, 0x80de_b1fe, 0x9bdc_06a7, 0xc19b_f174],
    [0xe49b_69c1, 0xefbe_4786, 0x0fc1_9dc6, 0x240c_a1cc],
    [0x2de9_2c6f, 0x4a74_84aa, 0x5cb0_a9dc, 0x76f9_88da],
    [0x983e_5152, 0xa831_c66d, 0xb003_27c8, 0xbf59_7fc7],
    [0xc6e0_0bf3, 0xd5a7_9147, 0x06ca_6351, 0x1429_2967],
    [0x27b7_0a85, 0x2e1b_2138, 0x4d2c_6dfc, 0x5338_0d13],
    [0x650a_7354, 0x766a_0abb, 0x81c2_c92e, 0x9272_2c85],
    [0xa2bf_e8a1, 0xa81a_664b, 0xc24b_8b70, 0xc76c_51a3],
    [0xd192_e819, 0xd699_0624, 0xf40e_3585, 0x106a_a070],
    [0x19a4_c116, 0x1e37_6c08, 0x2748_774c, 0x34b0_bcb5],
    [0x391c_0cb3, 0x4ed8_aa4a, 0x5b9c_ca4f, 0x682e_6ff3],
    [0x748f_82ee, 0x78a5_636f, 0x84c8_7814, 0x8cc7_0208],
    [0x90be_fffa, 0xa450_6ceb, 0xbef9_a3f7, 0xc671_78f2],
];
/// Rounds of four that prepare words of the message for those to come.
const PREPARING: usize = K.len() - BLOCK / 16;

fearless_simd::kernel!(
    /// Takes as many blocks of two files as both have.
    pub(super) fn add_both(token: Avx512, words: [&mut [u32; 8]; 2], blocks: [&[Chunk]; 2]) {
        use core::arch::x86_64::*;
        let _ = token;
        let four = |w: [u32; 4]| {
            let [a, b, c, d] = w.map(u32::cast_signed);
            _mm_set_epi32(d, c, b, a)
        };
        let of = |v: __m128i| {
            let [a, b] = [_mm_extract_epi64::<0>(v), _mm_extract_epi64::<1>(v)];
            let halves = |v: i64| [v as u32, (v >> 32) as u32];
            [halves(a), halves(b)]
        };
        // The unit wants the words of the state in these orders.
        let mut abef = words.each_ref().map(|w| four([w[5], w[4], w[1], w[0]]));
        let mut cdgh = words.each_ref().map(|w| four([w[7], w[6], w[3], w[2]]));
        let big_endian = _mm_set_epi64x(0x0c0d_0e0f_0809_0a0b, 0x0405_0607_0001_0203);
        for (one, other) in blocks[0].iter().zip(blocks[1]) {
            let before = (abef, cdgh);
            let mut message = [one, other].map(|block| {
                let (quarters, _) = block.as_chunks::<16>();
                [0, 1, 2, 3].map(|i| {
                    let v = u128::from_le_bytes(quarters[i]);
                    _mm_shuffle_epi8(_mm_set_epi64x((v >> 64) as i64, v as i64), big_endian)
                })
            });
            for (round, k) in K.iter().enumerate() {
                let k = four(*k);
                for file in 0..2 {
                    let [m0, m1, m2, m3] = [0, 1, 2, 3].map(|i| message[file][(round + i) % 4]);
                    let sum = _mm_add_epi32(m0, k);
                    cdgh[file] = _mm_sha256rnds2_epu32(cdgh[file], abef[file], sum);
                    let sum = _mm_shuffle_epi32::<0x0e>(sum);
                    abef[file] = _mm_sha256rnds2_epu32(abef[file], cdgh[file], sum);
                    if round < PREPARING {
                        let next = _mm_add_epi32(
                            _mm_sha256msg1_epu32(m0, m1),
                            _mm_alignr_epi8::<4>(m3, m2),
                        );
                        message[file][round % 4] = _mm_sha256msg2_epu32(next, m3);
                    }
                }
            }
            for file in 0..2 {
                abef[file] = _mm_add_epi32(abef[file], before.0[file]);
                cdgh[file] = _mm_add_epi32(cdgh[file], before.1[file]);
            }
        }
        for (file, words) in words.into_iter().enumerate() {
            let [[f, e], [b, a]] = of(abef[file]);
            let [[h, g], [d, c]] = of(cdgh[file]);
            *words = [a, b, c, d, e, f, g, h];
        }
    }
);
