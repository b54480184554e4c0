//! Asking for memory before it is needed, where no processor foresees which comes next.

use fearless_simd::Level;
use std::hint::black_box;

/// Values in a line of the cache (64 bytes), nearly everywhere.
pub(super) const LINE: usize = 32;

/// Has the line of memory that holds a value brought into the second cache, without waiting for it
/// where the processor is known to do that.
#[inline(always)]
pub(super) fn fetch(level: Level, value: &u16) {
    #[cfg(target_arch = "x86_64")]
    if let Some(sse) = level.as_sse2() {
        return prefetch(sse, value);
    }
    let _ = level;
    black_box(*value);
}

#[cfg(target_arch = "x86_64")]
fearless_simd::kernel!(
    #[inline(always)]
    fn prefetch(token: Sse2, value: &u16) {
        use core::arch::x86_64::{_MM_HINT_T1, _mm_prefetch};
        let _ = token;
        _mm_prefetch::<_MM_HINT_T1>(std::ptr::from_ref(value).cast());
    }
);
