//! What a command says while the window runs it.

use std::io::Write;
use std::sync::{Arc, Mutex, PoisonError};

/// What a command said.
#[derive(Clone, Default)]
pub struct Heard(Arc<Mutex<Vec<u8>>>);

impl Heard {
    /// As text.
    #[must_use]
    pub fn text(&self) -> String {
        let said = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        String::from_utf8_lossy(&said).trim_end().to_owned()
    }
}

impl Write for Heard {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).extend_from_slice(bytes);
        Ok(bytes.len())
    }
    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}
