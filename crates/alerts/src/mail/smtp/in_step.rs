//! A connection on which the server may speak only when asked.
//!
//! mail-send throws away what follows an answer in the same read, and takes
//! what follows in a later read for the next answer. Either way one answer too
//! many could pass for the answer to the dot. So this sits between it and the
//! socket: it hands out one reply for each turn, keeps the rest where it can be
//! seen, and will not let us speak while the server has said more than it was
//! asked.

use std::future::poll_fn;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};

/// Longest reply taken, all lines together. A long EHLO answer has some 1,000
/// bytes; RFC 5321, 4.5.3.1.5 allows 512 a line.
const LONGEST_REPLY: usize = 16 * 1024;

/// See the module.
#[derive(Debug)]
pub struct InStep<S> {
    inner: S,
    /// Received and not yet handed out.
    held: Vec<u8>,
    reply: Reply,
}

/// How far the reply of this turn has been handed out.
#[derive(Debug, Default)]
struct Reply {
    /// First four bytes of the present line: code and separator.
    head: Vec<u8>,
    /// Code of the first line; the others must bear it too.
    code: Option<[u8; 3]>,
    length: usize,
    complete: bool,
}

impl Reply {
    /// How many of `bytes` still belong to this reply.
    fn take(&mut self, bytes: &[u8]) -> io::Result<usize> {
        for (at, &byte) in bytes.iter().enumerate() {
            self.length += 1;
            if self.length > LONGEST_REPLY {
                return Err(out_of_step("its answer has no end"));
            }
            if self.head.len() < 4 {
                self.head.push(byte);
            }
            if byte != b'\n' {
                continue;
            }
            let code = match *self.head.as_slice() {
                [a, b, c, _] if [a, b, c].iter().all(u8::is_ascii_digit) => [a, b, c],
                _ => return Err(out_of_step("its answer has no reply code")),
            };
            if *self.code.get_or_insert(code) != code {
                return Err(out_of_step("one answer bears two reply codes"));
            }
            self.complete = self.head[3] != b'-';
            self.head.clear();
            if self.complete {
                return Ok(at + 1);
            }
        }
        Ok(bytes.len())
    }
}

fn out_of_step(what: &str) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, format!("the server is out of step: {what}"))
}

fn closed() -> io::Error {
    io::Error::new(io::ErrorKind::UnexpectedEof, "the server closed the connection")
}

impl<S: AsyncRead + AsyncWrite + Unpin> InStep<S> {
    /// A connection on which the server has the first word.
    pub fn new(inner: S) -> InStep<S> {
        InStep { inner, held: Vec::new(), reply: Reply::default() }
    }

    /// The connection underneath, when nothing was said out of turn.
    pub fn into_inner(self) -> io::Result<S> {
        self.nothing_more()?;
        Ok(self.inner)
    }

    /// Fails when the server has already said more than it was asked.
    pub fn nothing_more(&self) -> io::Result<()> {
        if self.held.is_empty() {
            return Ok(());
        }
        let said: String = String::from_utf8_lossy(&self.held).chars().take(80).collect();
        Err(out_of_step(&format!("it said `{}` unasked", said.trim())))
    }

    /// Looks at the socket itself: fails when the server has said more than it
    /// was asked, or has gone.
    pub async fn quiet(&mut self) -> io::Result<()> {
        // Lets the runtime look at its sockets; without it, what arrived since
        // the last read would not be seen.
        tokio::task::yield_now().await;
        poll_fn(|cx| Poll::Ready(self.look(cx))).await
    }

    fn look(&mut self, cx: &mut Context<'_>) -> io::Result<()> {
        self.nothing_more()?;
        match self.fill(cx) {
            Poll::Pending => Ok(()),
            Poll::Ready(Ok(())) => self.nothing_more(),
            Poll::Ready(Err(error)) => Err(error),
        }
    }

    /// Reads once from the socket; an end is an error, so `Ok` has bytes.
    fn fill(&mut self, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        let mut room = [0u8; 2048];
        let mut buf = ReadBuf::new(&mut room);
        match Pin::new(&mut self.inner).poll_read(cx, &mut buf) {
            Poll::Pending => Poll::Pending,
            Poll::Ready(Err(error)) => Poll::Ready(Err(error)),
            Poll::Ready(Ok(())) if buf.filled().is_empty() => Poll::Ready(Err(closed())),
            Poll::Ready(Ok(())) => {
                self.held.extend_from_slice(buf.filled());
                Poll::Ready(Ok(()))
            }
        }
    }
}

impl<S: AsyncRead + AsyncWrite + Unpin> AsyncRead for InStep<S> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        out: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let this = &mut *self;
        if this.reply.complete {
            return Poll::Ready(Err(out_of_step("its answer cannot be read")));
        }
        if this.held.is_empty() {
            std::task::ready!(this.fill(cx))?;
        }
        let offered = this.held.len().min(out.remaining());
        let taken = this.reply.take(&this.held[..offered])?;
        out.put_slice(&this.held[..taken]);
        this.held.drain(..taken);
        Poll::Ready(Ok(()))
    }
}

impl<S: AsyncRead + AsyncWrite + Unpin> AsyncWrite for InStep<S> {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        self.look(cx)?;
        let written = std::task::ready!(Pin::new(&mut self.inner).poll_write(cx, bytes))?;
        self.reply = Reply::default();
        Poll::Ready(Ok(written))
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.inner).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.inner).poll_shutdown(cx)
    }
}

#[cfg(test)]
mod tests;
