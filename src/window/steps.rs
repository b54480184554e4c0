//! What was said before, step by step, so that it can be taken back and done again.

/// So many steps can be taken back.
const MOST: usize = 200;

/// States before the present one, and those that were taken back.
#[derive(Debug)]
pub struct Steps<T> {
    before: Vec<T>,
    after: Vec<T>,
}

impl<T> Default for Steps<T> {
    fn default() -> Self {
        Self { before: Vec::new(), after: Vec::new() }
    }
}

impl<T> Steps<T> {
    /// Another state follows the present one.
    pub fn take(&mut self, now: &mut T, next: T) {
        self.before.push(std::mem::replace(now, next));
        if self.before.len() > MOST {
            self.before.remove(0);
        }
        self.after.clear();
    }
    /// Takes the last step back; gives whether there was one.
    pub fn undo(&mut self, now: &mut T) -> bool {
        swap(&mut self.before, now, &mut self.after)
    }
    /// Does what was taken back again; gives whether there was something.
    pub fn redo(&mut self, now: &mut T) -> bool {
        swap(&mut self.after, now, &mut self.before)
    }
    /// Whether there is something to take back, and to do again.
    #[must_use]
    pub fn are_there(&self) -> (bool, bool) {
        (!self.before.is_empty(), !self.after.is_empty())
    }
    /// All states but the present one.
    pub fn others(&mut self) -> impl Iterator<Item = &mut T> {
        self.before.iter_mut().chain(&mut self.after)
    }
}

fn swap<T>(from: &mut Vec<T>, now: &mut T, to: &mut Vec<T>) -> bool {
    let Some(state) = from.pop() else { return false };
    to.push(std::mem::replace(now, state));
    true
}
