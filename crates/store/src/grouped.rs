//! Writes that share one transaction: while one is being made durable, those
//! that come meanwhile wait for each other, and the next takes them all.

use std::sync::{Mutex, PoisonError};

use tokio::sync::oneshot;
use tokio::sync::{Mutex as Turns, MutexGuard};

use crate::Result;

/// Jobs of one transaction: enough for all that come during a sync, few enough
/// that other writers get in between.
const AT_ONCE: usize = 256;

/// Jobs that wait for their turn, in the order in which they came.
#[derive(Debug)]
pub(crate) struct Queue<J, T> {
    waiting: Mutex<Vec<Waiting<J, T>>>,
    turn: Turns<()>,
}

impl<J, T> Default for Queue<J, T> {
    fn default() -> Queue<J, T> {
        Queue { waiting: Mutex::default(), turn: Turns::default() }
    }
}

/// A job with the way back to who asked for it.
#[derive(Debug)]
pub(crate) struct Waiting<J, T> {
    pub(crate) job: J,
    answer: oneshot::Sender<Result<T>>,
}

impl<J, T> Waiting<J, T> {
    /// Tells who asked, unless they have gone.
    pub(crate) fn answer(self, outcome: Result<T>) {
        let _ = self.answer.send(outcome);
    }
}

impl<J, T> Queue<J, T> {
    /// Puts a job last.
    pub(crate) fn add(&self, job: J) -> oneshot::Receiver<Result<T>> {
        let (answer, receiver) = oneshot::channel();
        self.lock().push(Waiting { job, answer });
        receiver
    }

    /// Waits until nobody else does what is waiting.
    pub(crate) async fn turn(&self) -> MutexGuard<'_, ()> {
        self.turn.lock().await
    }

    /// Takes the first of what waits, without those whose asker has gone.
    pub(crate) fn take(&self) -> Vec<Waiting<J, T>> {
        let mut waiting = self.lock();
        waiting.retain(|one| !one.answer.is_closed());
        let number = waiting.len().min(AT_ONCE);
        waiting.drain(..number).collect()
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Vec<Waiting<J, T>>> {
        self.waiting.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
