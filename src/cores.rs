//! Work spread over all cores, its results taken one by one in the order of the work.
//!
//! Every core fetches the next piece, works on it and hands the result in; a result is taken as soon as
//! all before it are. What is taken, and in which order, does not depend on the number of cores. A core
//! that is far ahead of the slowest waits, so that only a few pieces and results are in memory at a time.

use std::collections::BTreeMap;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;

/// More threads than this only wait for the file.
const MOST_THREADS: usize = 8;

/// Pieces for each thread that may be at work or wait for their turn.
const AHEAD: usize = 4;

/// As many threads as are worth while.
pub(crate) fn threads() -> usize {
    thread::available_parallelism().map_or(1, |cores| cores.get().min(MOST_THREADS))
}

/// Has `work` done on every piece that `fetch` gives, until it gives `None`, and every result taken by
/// `take`, in the order of the pieces. Each thread has one `scratch` of its own.
///
/// The first error of `fetch` or `take` ends it; what was fetched before is worked on in vain.
pub(crate) fn in_order<T, R: Send, S, E: Send>(
    threads: usize,
    fetch: impl FnMut() -> Result<Option<T>, E> + Send,
    scratch: impl Fn() -> S + Sync,
    work: impl Fn(&mut S, T) -> R + Sync,
    take: impl FnMut(R) -> Result<(), E> + Send,
) -> Result<(), E> {
    let pieces = Mutex::new(Pieces { fetch, number: 0 });
    let results = Results {
        turn: Mutex::new(Turn { next: 0, ended: None, waiting: BTreeMap::new(), take }),
        moved: Condvar::new(),
    };
    let one_thread = || {
        let mut scratch = scratch();
        let guard = EndsOnPanic(&results);
        loop {
            let (number, piece) = {
                // Who waits for his turn here keeps the others waiting at this lock: they are no less ahead.
                let mut pieces = locked(&pieces);
                if !results.is_open_for(pieces.number, AHEAD * threads.max(1)) {
                    break;
                }
                match (pieces.fetch)() {
                    Ok(Some(piece)) => {
                        pieces.number += 1;
                        (pieces.number - 1, piece)
                    }
                    Ok(None) => break,
                    Err(error) => {
                        results.end(Ended::By(error));
                        break;
                    }
                }
            };
            results.hand_in(number, work(&mut scratch, piece));
        }
        drop(guard);
    };
    thread::scope(|scope| {
        // A panic of one of them goes on in the scope.
        for _ in 1..threads {
            scope.spawn(one_thread);
        }
        one_thread();
    });
    match results.turn.into_inner().unwrap_or_else(PoisonError::into_inner).ended {
        Some(Ended::By(error)) => Err(error),
        _ => Ok(()),
    }
}

/// A thread that panics takes the whole run with it, so a lock it held is of no account.
fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

struct Pieces<F> {
    fetch: F,
    /// Of the next piece.
    number: usize,
}

enum Ended<E> {
    By(E),
    Panicked,
}

struct Turn<R, K, E> {
    /// The result that is taken next.
    next: usize,
    ended: Option<Ended<E>>,
    /// Results that came before their turn.
    waiting: BTreeMap<usize, R>,
    take: K,
}

struct Results<R, K, E> {
    turn: Mutex<Turn<R, K, E>>,
    moved: Condvar,
}

impl<R, K, E> Results<R, K, E> {
    /// Waits until a piece with this number is not too far ahead; `false` when all has ended.
    fn is_open_for(&self, number: usize, ahead: usize) -> bool {
        let mut turn = locked(&self.turn);
        while turn.ended.is_none() && number >= turn.next + ahead {
            turn = self.moved.wait(turn).unwrap_or_else(PoisonError::into_inner);
        }
        turn.ended.is_none()
    }

    fn end(&self, ended: Ended<E>) {
        locked(&self.turn).ended.get_or_insert(ended);
        self.moved.notify_all();
    }
}

impl<R, E, K: FnMut(R) -> Result<(), E>> Results<R, K, E> {
    fn hand_in(&self, number: usize, result: R) {
        let mut turn = locked(&self.turn);
        turn.waiting.insert(number, result);
        while turn.ended.is_none() {
            let next = turn.next;
            let Some(result) = turn.waiting.remove(&next) else { break };
            match (turn.take)(result) {
                Ok(()) => turn.next += 1,
                Err(error) => turn.ended = Some(Ended::By(error)),
            }
        }
        drop(turn);
        self.moved.notify_all();
    }
}

/// Others would wait for ever for the result of a thread that panics.
struct EndsOnPanic<'a, R, K, E>(&'a Results<R, K, E>);

impl<R, K, E> Drop for EndsOnPanic<'_, R, K, E> {
    fn drop(&mut self) {
        if thread::panicking() {
            self.0.end(Ended::Panicked);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn squares(threads: usize, count: u64, fails_at: u64) -> (Result<(), u64>, Vec<u64>) {
        let (mut next, mut taken) = (0, Vec::new());
        let fetch = || {
            next += 1;
            Ok((next <= count).then_some(next))
        };
        // Later pieces are quicker than earlier ones.
        let work = |done: &mut u64, piece: u64| {
            *done += 1;
            std::thread::sleep(std::time::Duration::from_micros(300 * (piece % 3)));
            piece * piece
        };
        let take = |result: u64| {
            if result == fails_at {
                return Err(result);
            }
            taken.push(result);
            Ok(())
        };
        let result = in_order(threads, fetch, || 0, work, take);
        (result, taken)
    }

    #[test]
    fn results_come_in_the_order_of_the_pieces_on_any_number_of_threads() {
        for threads in [0, 1, 2, 7] {
            let (result, taken) = squares(threads, 200, 0);
            assert_eq!(result, Ok(()));
            assert_eq!(taken, (1..=200).map(|piece| piece * piece).collect::<Vec<u64>>());
        }
    }

    #[test]
    fn an_error_ends_it_where_it_is_and_nothing_later_is_taken() {
        for threads in [1, 2, 5] {
            let (result, taken) = squares(threads, 200, 49);
            assert_eq!((result, taken), (Err(49), vec![1, 4, 9, 16, 25, 36]));
        }
    }

    #[test]
    fn an_error_of_fetching_is_told_as_well() {
        let fetched = in_order::<u8, _, _, _>(3, || Err("no disk"), || (), |(), piece| piece, |_| Ok(()));
        assert_eq!(fetched, Err("no disk"));
    }

    #[test]
    #[should_panic(expected = "a scoped thread panicked")]
    fn a_panic_does_not_leave_the_others_waiting() {
        let mut next = 0;
        let fetch = || {
            next += 1;
            Ok::<_, ()>(Some(next))
        };
        let caller = thread::current().id();
        let work = |(): &mut (), piece: u64| assert!(piece < 20 || thread::current().id() == caller);
        let take = |()| Ok(());
        // The caller's thread would go on for ever if nobody told it.
        let _ = in_order(2, fetch, || (), work, take);
    }
}
