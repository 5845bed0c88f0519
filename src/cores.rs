//! Work on all cores, the caller's thread among them: it begins at once, the others join in when the system has woken them.

use crate::watch::{Stopped, Watch};
#[cfg(feature = "threads")]
use std::sync::Condvar;
use std::sync::Mutex;
use std::sync::PoisonError;
use std::sync::atomic::{AtomicBool, Ordering};
#[cfg(feature = "threads")]
use std::time::Duration;

/// Does `work` with each item, each thread with a room of its own; in what order is not said. With the feature `threads` on all cores.
/// While the caller waits for others it asks the watch, so that those who are long at one item hear of a stop.
///
/// # Errors
/// [`Stopped`] when `work` says so; the rest is left undone then.
pub(crate) fn each<R, T: Send>(
    items: impl ExactSizeIterator<Item = T> + Send,
    watch: &dyn Watch,
    room: impl Fn() -> R + Sync,
    work: impl Fn(&mut R, T) -> Result<(), Stopped> + Sync,
) -> Result<(), Stopped> {
    let count = items.len();
    let items = Mutex::new(items);
    let stopped = AtomicBool::new(false);
    let next = || items.lock().unwrap_or_else(PoisonError::into_inner).next();
    let some = || {
        let mut own = None;
        while let Some(item) = if stopped.load(Ordering::Relaxed) { None } else { next() } {
            if work(own.get_or_insert_with(&room), item).is_err() {
                stopped.store(true, Ordering::Relaxed);
            }
        }
    };
    together(count, &some, watch);
    if stopped.into_inner() { Err(Stopped) } else { Ok(()) }
}

/// The answers to `0..count`, in their order.
///
/// # Errors
/// As [`each`].
pub(crate) fn answers<R, U: Send>(
    count: usize,
    watch: &dyn Watch,
    room: impl Fn() -> R + Sync,
    work: impl Fn(&mut R, usize) -> Result<U, Stopped> + Sync,
) -> Result<Vec<U>, Stopped> {
    let mut found: Vec<Option<U>> = std::iter::repeat_with(|| None).take(count).collect();
    // few enough to share out evenly, many enough that handing them out costs nothing
    let several = (count / 256).clamp(1, 32);
    each(found.chunks_mut(several).enumerate(), watch, room, |room, (part, slots)| {
        for (place, slot) in slots.iter_mut().enumerate() {
            *slot = Some(work(room, part * several + place)?);
        }
        Ok(())
    })?;
    Ok(found.into_iter().flatten().collect())
}

#[cfg(not(feature = "threads"))]
fn together(_count: usize, some: &(impl Fn() + Sync), _watch: &dyn Watch) {
    some();
}

/// Runs `some` on no more threads than there are items.
#[cfg(feature = "threads")]
fn together(count: usize, some: &(impl Fn() + Sync), watch: &dyn Watch) {
    let Some(pool) = (if count > 1 { pool() } else { None }) else { return some() };
    let helpers = pool.current_num_threads().min(count) - 1;
    let at_work = AtWork { count: Mutex::new(helpers), gone: Condvar::new() };
    pool.in_place_scope(|scope| {
        for _ in 0..helpers {
            scope.spawn(|_| {
                let _leaves = Leaves(&at_work);
                some();
            });
        }
        some();
        let mut left = at_work.count.lock().unwrap_or_else(PoisonError::into_inner);
        while *left > 0 {
            left = at_work.gone.wait_timeout(left, LOOK_EVERY).unwrap_or_else(PoisonError::into_inner).0;
            if *left > 0 {
                // what it is told the others hear from the watch itself
                watch.stop();
            }
        }
    });
}

/// Between two looks at the watch of a caller that waits.
#[cfg(feature = "threads")]
const LOOK_EVERY: Duration = Duration::from_millis(20);

/// How many helpers have not left yet.
#[cfg(feature = "threads")]
struct AtWork {
    count: Mutex<usize>,
    gone: Condvar,
}

/// Leaves when dropped: a helper that panics leaves too.
#[cfg(feature = "threads")]
struct Leaves<'a>(&'a AtWork);

#[cfg(feature = "threads")]
impl Drop for Leaves<'_> {
    fn drop(&mut self) {
        *self.0.count.lock().unwrap_or_else(PoisonError::into_inner) -= 1;
        self.0.gone.notify_one();
    }
}

/// The pool of this process: one for all, and a forked child makes its own instead of waiting for threads it does not have.
/// `None` if the system gives no threads, then work runs on the caller's.
#[cfg(feature = "threads")]
fn pool() -> Option<std::sync::Arc<rayon::ThreadPool>> {
    use std::sync::Arc;
    static POOL: Mutex<Option<(u32, Arc<rayon::ThreadPool>)>> = Mutex::new(None);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::watch::Unwatched;
    use std::sync::atomic::AtomicUsize;

    #[test]
    fn answers_come_in_order_whoever_gives_them() {
        for count in [0, 1, 2, 255, 5_000] {
            let found = answers(count, &Unwatched, || 0, |_, number| Ok(3 * number)).unwrap();
            assert!(found.len() == count && found.iter().enumerate().all(|(number, answer)| *answer == 3 * number));
        }
    }

    #[test]
    fn a_thread_keeps_its_room_and_the_caller_has_one() {
        let (rooms, seen) = (AtomicUsize::new(0), Mutex::new(Vec::new()));
        let room = || rooms.fetch_add(1, Ordering::Relaxed);
        let work = |room: &mut usize, item: usize| {
            seen.lock().unwrap().push((*room, std::thread::current().id(), item));
            Ok(())
        };
        each((0..2_000).collect::<Vec<_>>().into_iter(), &Unwatched, room, work).unwrap();
        let mut seen = seen.into_inner().unwrap();
        let mut threads: Vec<_> = seen.iter().map(|one| (one.0, one.1)).collect();
        threads.sort_by_key(|one| one.0);
        threads.dedup();
        assert_eq!(threads.len(), rooms.into_inner());
        seen.sort_by_key(|one| one.2);
        assert!(seen.len() == 2_000 && seen.iter().enumerate().all(|(item, one)| one.2 == item));
        // one item alone wakes nobody
        let own = std::thread::current().id();
        each(
            std::iter::once(()),
            &Unwatched,
            || (),
            |(), ()| {
                assert_eq!(std::thread::current().id(), own);
                Ok(())
            },
        )
        .unwrap();
    }

    #[test]
    fn stopped_is_stopped() {
        let done = AtomicUsize::new(0);
        let work = |(): &mut (), number: usize| {
            done.fetch_add(1, Ordering::Relaxed);
            if number >= 10 { Err(Stopped) } else { Ok(()) }
        };
        assert_eq!(answers(1_000_000, &Unwatched, || (), work), Err(Stopped));
        assert!(done.into_inner() < 1_000_000);
    }

    #[cfg(feature = "threads")]
    #[test]
    fn a_caller_that_waits_asks_its_watch() {
        // stops only when asked on the thread that called; the other is long at its one item and goes by what the watch knows
        struct OfCaller(std::thread::ThreadId, AtomicBool);
        impl Watch for OfCaller {
            fn stop(&self) -> bool {
                if std::thread::current().id() == self.0 {
                    self.1.store(true, Ordering::Relaxed);
                }
                self.1.load(Ordering::Relaxed)
            }
        }
        if pool().is_none_or(|pool| pool.current_num_threads() < 2) {
            return;
        }
        let own = std::thread::current().id();
        let watch = OfCaller(own, AtomicBool::new(false));
        let began = std::time::Instant::now();
        let taken = AtomicBool::new(false);
        let work = |(): &mut (), _: usize| {
            if std::thread::current().id() == own {
                // until the other has begun
                while !taken.load(Ordering::Relaxed) {
                    std::hint::spin_loop();
                }
                return Ok(());
            }
            taken.store(true, Ordering::Relaxed);
            while !watch.stop() {
                assert!(began.elapsed().as_secs() < 60, "nobody asks");
                std::thread::yield_now();
            }
            Err(Stopped)
        };
        assert_eq!(each(0..2, &watch, || (), work), Err(Stopped));
    }
}
