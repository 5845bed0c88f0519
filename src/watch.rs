//! Progress and cancelling, handed down to every long loop.

/// Asked now and then by long loops; must be cheap and callable from several threads.
pub trait Watch: Sync {
    /// Whether to stop now.
    fn stop(&self) -> bool {
        false
    }
    /// Told how many points have been done since the last call.
    fn done(&self, _points: usize) {}
}

/// Never stops, tells nobody.
#[derive(Debug, Clone, Copy, Default)]
pub struct Unwatched;

impl Watch for Unwatched {}

/// A loop was stopped by its [`Watch`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("stopped before the end")]
pub struct Stopped;
