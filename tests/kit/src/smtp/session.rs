//! One connection of the listener.

use std::io::{self, Read, Write};
use std::net::TcpStream;

use super::script::{Act, Duplex, Script, Step};
use super::{Log, Received, Speaker};

/// Longest command line taken; a client that sends more is cut.
const LONGEST_LINE: usize = 4 * 1024;

/// Ends a session from within; not a failure.
fn done() -> io::Error {
    io::Error::from(io::ErrorKind::ConnectionAborted)
}

struct Session<'a> {
    stream: Box<dyn Duplex>,
    /// Read and not yet used.
    held: Vec<u8>,
    connection: usize,
    log: &'a Log,
    script: &'a Script,
    in_tls: bool,
    from: String,
    to: Vec<String>,
}

/// Serves until the client leaves, the script closes, or the listener stops.
pub(super) fn serve(tcp: TcpStream, connection: usize, log: &Log, script: &Script) -> io::Result<()> {
    tcp.set_nodelay(true)?;
    let raw = tcp.try_clone()?;
    let stream: Box<dyn Duplex> = match &script.tls {
        Some(wrap) if script.tls_at_once => wrap(tcp)?,
        _ => Box::new(tcp),
    };
    let mut session = Session {
        stream,
        held: Vec::new(),
        connection,
        log,
        script,
        in_tls: script.tls_at_once,
        from: String::new(),
        to: Vec::new(),
    };
    session.answer(Step::Greeting, "220 listener.example ESMTP\r\n")?;
    while let Some(line) = session.line()? {
        let verb: String = line.chars().take_while(char::is_ascii_alphabetic).collect();
        match verb.to_ascii_uppercase().as_str() {
            "EHLO" | "HELO" => {
                let offers = session.offers();
                session.answer(Step::Hello, &offers)?;
            }
            "STARTTLS" => session.start_tls(&raw)?,
            "AUTH" => session.auth(&line)?,
            "MAIL" => {
                session.from = path_of(&line);
                session.to.clear();
                session.answer(Step::Mail, "250 2.1.0 sender taken\r\n")?;
            }
            "RCPT" => {
                let said = session.answer(Step::Rcpt, "250 2.1.5 recipient taken\r\n")?;
                if said.starts_with('2') {
                    session.to.push(path_of(&line));
                }
            }
            "DATA" => {
                let said = session.answer(Step::Data, "354 go on\r\n")?;
                if said.starts_with('3') {
                    session.message()?;
                }
            }
            "RSET" | "NOOP" => session.write(b"250 2.0.0 well\r\n")?,
            "QUIT" => {
                session.answer(Step::Quit, "221 2.0.0 bye\r\n")?;
                return Ok(());
            }
            _ => session.write(b"500 5.5.2 not a command here\r\n")?,
        }
    }
    Ok(())
}

/// What stands between the angle brackets.
fn path_of(line: &str) -> String {
    let behind = line.split_once('<').map_or("", |(_, behind)| behind);
    behind.split('>').next().unwrap_or_default().to_owned()
}

impl Session<'_> {
    fn offers(&self) -> String {
        let mut lines = vec!["listener.example".to_owned()];
        match &self.script.offers_in_tls {
            Some(offers) if self.in_tls => lines.extend_from_slice(offers),
            _ => lines.extend_from_slice(&self.script.offers),
        }
        let last = lines.len() - 1;
        let dash = |at: usize| if at == last { ' ' } else { '-' };
        lines.iter().enumerate().map(|(at, line)| format!("250{}{line}\r\n", dash(at))).collect()
    }

    /// Gives the usual answer or what the script has instead, and says which.
    fn answer(&mut self, step: Step, usual: &str) -> io::Result<String> {
        let usual = usual.to_owned();
        match self.script.acts.get(&step).cloned() {
            None => self.write(usual.as_bytes())?,
            Some(Act::Say(text)) => {
                self.write(text.as_bytes())?;
                return Ok(text);
            }
            Some(Act::Surplus(text)) => self.write(format!("{usual}{text}").as_bytes())?,
            Some(Act::Then(pause, text)) => {
                self.write(usual.as_bytes())?;
                self.pause(pause)?;
                self.write(text.as_bytes())?;
            }
            Some(Act::Hang) => return Err(self.hang()),
            Some(Act::Drip(pause)) => {
                for byte in usual.as_bytes() {
                    self.pause(pause)?;
                    self.write(&[*byte])?;
                }
            }
            Some(Act::Late(pause)) => {
                self.pause(pause)?;
                self.write(usual.as_bytes())?;
            }
            Some(Act::Close) => return Err(done()),
            Some(Act::AnswerAndClose) => {
                self.write(usual.as_bytes())?;
                return Err(done());
            }
        }
        Ok(usual)
    }

    /// Says nothing more and listens until the client leaves.
    fn hang(&mut self) -> io::Error {
        loop {
            match self.read() {
                Ok(true) => {}
                Ok(false) => return done(),
                Err(error) => return error,
            }
        }
    }

    fn start_tls(&mut self, raw: &TcpStream) -> io::Result<()> {
        let said = self.answer(Step::StartTls, "220 2.0.0 go on in TLS\r\n")?;
        if let (true, Some(wrap)) = (said.starts_with('2'), &self.script.tls) {
            self.stream = wrap(raw.try_clone()?)?;
            self.held.clear();
            self.in_tls = true;
        }
        Ok(())
    }

    /// Takes any user: PLAIN in one line, LOGIN in three.
    fn auth(&mut self, line: &str) -> io::Result<()> {
        if line.to_ascii_uppercase().starts_with("AUTH LOGIN") {
            // "Username:" and "Password:" in base64.
            for question in ["334 VXNlcm5hbWU6\r\n", "334 UGFzc3dvcmQ6\r\n"] {
                self.write(question.as_bytes())?;
                self.line()?.ok_or_else(done)?;
            }
        }
        self.answer(Step::Auth, "235 2.7.0 welcome\r\n")?;
        Ok(())
    }

    fn message(&mut self) -> io::Result<()> {
        let mut bytes = Vec::new();
        let mut acted = false;
        loop {
            if !acted && bytes.len() >= self.script.body_after {
                acted = true;
                self.amid_message()?;
            }
            let Some(line) = self.raw_line(usize::MAX)? else {
                return Err(done());
            };
            match line.as_slice() {
                b".\r\n" => break,
                [b'.', rest @ ..] => bytes.extend_from_slice(rest),
                _ => bytes.extend_from_slice(&line),
            }
        }
        let message = Received {
            connection: self.connection,
            from: std::mem::take(&mut self.from),
            to: std::mem::take(&mut self.to),
            bytes,
        };
        // Counted before the answer leaves, so that a client that has read the
        // answer finds the message here.
        let taken = match self.script.acts.get(&Step::Dot) {
            Some(Act::Say(text)) => text.starts_with('2'),
            Some(Act::Hang | Act::Close) => false,
            Some(Act::Late(pause)) => {
                self.pause(*pause)?;
                self.log.took(message);
                return self.write(TAKEN.as_bytes());
            }
            _ => true,
        };
        if taken {
            self.log.took(message);
        }
        self.answer(Step::Dot, TAKEN)?;
        Ok(())
    }

    fn amid_message(&mut self) -> io::Result<()> {
        match self.script.acts.get(&Step::Body).cloned() {
            None => Ok(()),
            Some(Act::Say(text) | Act::Surplus(text)) => self.write(text.as_bytes()),
            Some(Act::Then(pause, text)) => {
                self.pause(pause)?;
                self.write(text.as_bytes())
            }
            Some(Act::Late(pause) | Act::Drip(pause)) => self.pause(pause),
            Some(Act::Hang) => {
                // Without reading, a client that leaves is not noticed; the
                // listener's end is.
                while self.log.pause(std::time::Duration::from_secs(1)) {}
                Err(done())
            }
            Some(Act::Close | Act::AnswerAndClose) => Err(done()),
        }
    }

    fn pause(&self, pause: std::time::Duration) -> io::Result<()> {
        if self.log.pause(pause) { Ok(()) } else { Err(done()) }
    }

    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.stream.write_all(bytes)?;
        self.stream.flush()?;
        self.log.passed(self.connection, Speaker::Server, bytes);
        Ok(())
    }

    /// Reads once; false at the end.
    fn read(&mut self) -> io::Result<bool> {
        let mut room = [0u8; 64 * 1024];
        let read = self.stream.read(&mut room)?;
        self.log.passed(self.connection, Speaker::Client, &room[..read]);
        self.held.extend_from_slice(&room[..read]);
        Ok(read > 0)
    }

    fn line(&mut self) -> io::Result<Option<String>> {
        let line = self.raw_line(LONGEST_LINE)?;
        Ok(line.map(|line| String::from_utf8_lossy(&line).trim_end().to_owned()))
    }

    /// Up to and with the next LF; `None` at the end.
    fn raw_line(&mut self, longest: usize) -> io::Result<Option<Vec<u8>>> {
        loop {
            if let Some(at) = self.held.iter().position(|&byte| byte == b'\n') {
                return Ok(Some(self.held.drain(..=at).collect()));
            }
            if self.held.len() > longest {
                return Err(io::Error::from(io::ErrorKind::InvalidData));
            }
            if !self.read()? {
                return Ok(None);
            }
        }
    }
}

/// The usual answer to the dot.
const TAKEN: &str = "250 2.0.0 taken as L1\r\n";
