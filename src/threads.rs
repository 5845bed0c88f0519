//! One thread pool per process: a forked child makes its own instead of waiting for threads it does not have.

use std::sync::{Arc, Mutex, PoisonError};

static POOL: Mutex<Option<(u32, Arc<rayon::ThreadPool>)>> = Mutex::new(None);

/// The pool of this process; `None` if the system gives no threads, then work runs on the caller's.
pub(crate) fn pool() -> Option<Arc<rayon::ThreadPool>> {
    let mut slot = POOL.lock().unwrap_or_else(PoisonError::into_inner);
    let here = std::process::id();
    if let Some((owner, pool)) = slot.as_ref() {
        if *owner == here {
            return Some(Arc::clone(pool));
        }
    }
    let pool = Arc::new(rayon::ThreadPoolBuilder::new().build().ok()?);
    // a parent's pool is left alone: its threads do not exist here, and dropping it would wait for them
    if let Some((_, stale)) = slot.replace((here, Arc::clone(&pool))) {
        std::mem::forget(stale);
    }
    Some(pool)
}
