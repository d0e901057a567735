//! The conversation with the mail server, step by step.

use std::future::Future;
use std::net::SocketAddr;

use mail_send::{Error, SmtpClient};
use smtp_proto::{AUTH_LOGIN, AUTH_PLAIN, EXT_START_TLS, EhloResponse, Response};
use store::trial;
use tokio::io::{AsyncRead, AsyncWrite, AsyncWriteExt};
use tokio::net::{TcpStream, lookup_host};
use tokio::time::timeout;

use super::answers::{expect, late, later, one_line, said, said_of, text_of, turned_down, unknown};
use super::in_step::InStep;
use super::{Outcome, Relay, Security, Stage, Timeouts, secure};
use crate::mail::wire;

/// Longest address that a server must take (RFC 5321, 4.5.3.1.3, without the
/// angle brackets).
const LONGEST_ADDRESS: usize = 254;

/// The message and its envelope.
#[derive(Clone, Copy)]
pub struct Mail<'a> {
    pub from: &'a str,
    pub to: &'a str,
    pub message: &'a str,
}

/// The whole conversation. Both sides of the result are outcomes; `Err` is one
/// that ended it early.
pub async fn run<F, Fut>(relay: &Relay, mail: Mail<'_>, offered: F) -> Result<Outcome, Outcome>
where
    F: FnOnce() -> Fut + Send,
    Fut: Future<Output = bool> + Send,
{
    check(relay, mail)?;
    let tcp = connect(relay).await?;
    match relay.security {
        Security::Plain | Security::Unprotected => {
            may_go_unprotected(relay, tcp.peer_addr().ok())?;
            let mut session = Session::new(tcp, relay.timeouts);
            session.greeting().await?;
            session.deliver(relay, mail, offered).await
        }
        Security::StartTls => {
            let mut session = Session::new(tcp, relay.timeouts);
            session.greeting().await?;
            let tcp = session.start_tls(relay).await?;
            let tls = protect(relay, tcp).await?;
            Session::new(tls, relay.timeouts).deliver(relay, mail, offered).await
        }
        Security::Tls => {
            let tls = protect(relay, tcp).await?;
            let mut session = Session::new(tls, relay.timeouts);
            session.greeting().await?;
            session.deliver(relay, mail, offered).await
        }
    }
}

/// Whatever would let one line of ours pass for two, or that no server takes.
fn check(relay: &Relay, mail: Mail<'_>) -> Result<(), Outcome> {
    let word = |text: &str| {
        !text.is_empty()
            && text.len() <= LONGEST_ADDRESS
            && text.bytes().all(|byte| byte.is_ascii_graphic() && !b"<>".contains(&byte))
    };
    let refused = |code, text: String| Outcome::Refused { stage: Stage::Envelope, code, text };
    for address in [mail.from, mail.to] {
        if !word(address) || !address.contains('@') {
            let text = format!("`{address}` is not an address for an envelope");
            return Err(refused(553, one_line(&text)));
        }
    }
    if !word(&relay.hello) {
        let cause = format!("`{}` is not a name to greet a server with", relay.hello);
        return Err(later(Stage::Hello, &cause));
    }
    wire::fit(mail.message.as_bytes()).map_err(|unfit| refused(554, unfit.to_string()))
}

/// Tries the host's addresses in turn, each with its share of the time, so that
/// one address that swallows packets leaves time for the next.
async fn connect(relay: &Relay) -> Result<TcpStream, Outcome> {
    let limit = relay.timeouts.connect;
    let place = format!("{}, port {}", relay.host, relay.port);
    let tried = timeout(limit, async {
        let addresses: Vec<_> = lookup_host((relay.host.as_str(), relay.port))
            .await
            .map_err(|error| error.to_string())?
            .collect();
        let share = limit / u32::try_from(addresses.len()).unwrap_or(u32::MAX).max(1);
        let mut cause = "the name has no address".to_owned();
        for address in addresses {
            match SmtpClient::connect(address, share).await {
                Ok(client) => return Ok(client.stream),
                Err(error) => cause = said_of(error),
            }
        }
        Err(cause)
    });
    match tried.await {
        Ok(Ok(stream)) => Ok(stream),
        Ok(Err(cause)) => Err(later(Stage::Connect, &format!("{place}: {cause}"))),
        Err(_) => Err(later(Stage::Connect, &format!("{place}: {}", late(limit)))),
    }
}

/// Whether mails to `peer` may go unprotected: to this machine, or where the
/// setting says so; a password to this machine alone. The host's name does not
/// decide it: names can be made to lead anywhere.
fn may_go_unprotected(relay: &Relay, peer: Option<SocketAddr>) -> Result<(), Outcome> {
    if peer.is_some_and(|peer| peer.ip().is_loopback()) {
        return Ok(());
    }
    if relay.credentials.is_some() {
        let cause = "user and password are not sent over an unprotected connection";
        return Err(later(Stage::Auth, cause));
    }
    if relay.security == Security::Plain {
        let cause = format!(
            "{} is not this machine, and nothing is sent elsewhere unprotected; write smtp+starttls:// or smtps://",
            relay.host
        );
        return Err(later(Stage::Tls, &cause));
    }
    Ok(())
}

async fn protect(
    relay: &Relay,
    tcp: TcpStream,
) -> Result<impl AsyncRead + AsyncWrite + Unpin + Send, Outcome> {
    let limit = relay.timeouts.reply;
    match timeout(limit, secure::shake_hands(relay, tcp, limit)).await {
        Ok(Ok(stream)) => Ok(stream),
        Ok(Err(cause)) => Err(later(Stage::Tls, &cause)),
        Err(_) => Err(later(Stage::Tls, &late(limit))),
    }
}

struct Session<S: AsyncRead + AsyncWrite + Unpin> {
    client: SmtpClient<InStep<S>>,
    timeouts: Timeouts,
}

impl<S: AsyncRead + AsyncWrite + Unpin + Send> Session<S> {
    fn new(stream: S, timeouts: Timeouts) -> Session<S> {
        Session {
            client: SmtpClient {
                stream: InStep::new(stream),
                // The limit for a step stands round the call; the library's own
                // is never reached.
                timeout: timeouts.reply.max(timeouts.quit).saturating_mul(2),
            },
            timeouts,
        }
    }

    async fn greeting(&mut self) -> Result<(), Outcome> {
        let read = timeout(self.timeouts.reply, self.client.read()).await;
        let reply = self.in_time(Stage::Greeting, read)?;
        expect(Stage::Greeting, &reply, &[220])
    }

    async fn hello(&mut self, name: &str) -> Result<EhloResponse<String>, Outcome> {
        self.our_turn(Stage::Hello).await?;
        let read = timeout(self.timeouts.reply, self.client.ehlo(name)).await;
        self.in_time(Stage::Hello, read)
    }

    /// Asks for TLS. Whatever the server answers instead, nothing goes on
    /// unprotected and nothing is given up: somebody on the way may have
    /// answered.
    async fn start_tls(mut self, relay: &Relay) -> Result<S, Outcome> {
        let offers = self.hello(&relay.hello).await?;
        if !offers.has_capability(EXT_START_TLS) {
            let cause = "the server does not offer STARTTLS; nothing is sent unprotected";
            return Err(later(Stage::Tls, cause));
        }
        match self.say(Stage::Tls, "STARTTLS\r\n", &[220]).await {
            Ok(_) => {}
            Err(Outcome::Refused { code, text, .. }) => {
                let cause = format!("STARTTLS was answered with {code} {text}");
                return Err(later(Stage::Tls, &cause));
            }
            Err(other) => return Err(other),
        }
        self.our_turn(Stage::Tls).await?;
        self.client.stream.into_inner().map_err(|error| later(Stage::Tls, &error.to_string()))
    }

    /// From EHLO to the end; the greeting has been read.
    async fn deliver<F, Fut>(mut self, relay: &Relay, mail: Mail<'_>, offered: F) -> Result<Outcome, Outcome>
    where
        F: FnOnce() -> Fut + Send,
        Fut: Future<Output = bool> + Send,
    {
        let offers = self.hello(&relay.hello).await?;
        self.sign_in(relay, offers).await?;
        trial::point(trial::BEFORE_MAIL);
        self.say(Stage::Mail, &format!("MAIL FROM:<{}>\r\n", mail.from), &[250]).await?;
        self.say(Stage::Rcpt, &format!("RCPT TO:<{}>\r\n", mail.to), &[250, 251]).await?;
        if !offered().await {
            return Err(later(Stage::Offer, "the message is no longer ours to send"));
        }
        self.say(Stage::Data, "DATA\r\n", &[354]).await?;
        trial::point(trial::AFTER_DATA);
        self.body(mail.message).await?;
        let reply = self.dot().await?;
        trial::point(trial::AFTER_250);
        self.quit(reply).await
    }

    async fn sign_in(&mut self, relay: &Relay, mut offers: EhloResponse<String>) -> Result<(), Outcome> {
        let Some(credentials) = &relay.credentials else {
            return Ok(());
        };
        // mail-send would begin CRAM-MD5 and DIGEST-MD5, which are not built
        // in, and leave the server waiting in the middle of them.
        offers.auth_mechanisms &= AUTH_PLAIN | AUTH_LOGIN;
        self.our_turn(Stage::Auth).await?;
        let tried =
            timeout(self.timeouts.reply, self.client.authenticate(credentials.for_mail_send(), &offers))
                .await
                .map(|tried| tried.map(|_| ()));
        self.in_time(Stage::Auth, tried)
    }

    async fn body(&mut self, message: &str) -> Result<(), Outcome> {
        let limit = self.timeouts.reply;
        let bytes = wire::dot_stuffed(message.as_bytes());
        let written = timeout(limit, async {
            self.client.stream.quiet().await?;
            self.client.stream.write_all(&bytes).await?;
            self.client.stream.flush().await?;
            self.client.stream.quiet().await
        });
        match written.await {
            Ok(Ok(())) => Ok(()),
            Ok(Err(error)) => Err(later(Stage::Body, &error.to_string())),
            Err(_) => Err(later(Stage::Body, &late(limit))),
        }
    }

    /// From here the message may be theirs: whatever is not a clear answer is
    /// unknown.
    async fn dot(&mut self) -> Result<Response<String>, Outcome> {
        let limit = self.timeouts.dot;
        let read = timeout(limit, async {
            self.client.stream.write_all(b".\r\n").await?;
            self.client.stream.flush().await?;
            trial::point(trial::AFTER_DOT);
            self.client.read().await
        });
        let reply = match read.await {
            Ok(Ok(reply)) => reply,
            Ok(Err(error)) => return Err(unknown(&said_of(error))),
            Err(_) => return Err(unknown(&late(limit))),
        };
        if let Err(error) = self.client.stream.nothing_more() {
            return Err(unknown(&error.to_string()));
        }
        match reply.code {
            250 => Ok(reply),
            400..=599 => Err(turned_down(Stage::Dot, &reply)),
            _ => Err(unknown(&format!("the dot was answered with {}", said(&reply)))),
        }
    }

    /// Takes leave, and sees by the answer whether the `250` was the dot's: an
    /// answer too many shows here, as the dot's own answer comes now. A server
    /// that just goes, or says nothing, is taken at its word.
    async fn quit(mut self, taken: Response<String>) -> Result<Outcome, Outcome> {
        let sent = Outcome::Sent { reply: text_of(&taken) };
        if self.client.stream.quiet().await.is_err() {
            return match self.client.stream.nothing_more() {
                Ok(()) => Ok(sent),
                Err(error) => Err(unknown(&error.to_string())),
            };
        }
        match timeout(self.timeouts.quit, self.client.cmd("QUIT\r\n")).await {
            Ok(Ok(reply)) if (400..=599).contains(&reply.code) => {
                let cause = format!("250 to the dot, then {} to QUIT", said(&reply));
                Err(unknown(&cause))
            }
            _ => Ok(sent),
        }
    }

    /// One command and its answer, which must be one of `wanted`.
    async fn say(
        &mut self,
        stage: Stage,
        command: &str,
        wanted: &[u16],
    ) -> Result<Response<String>, Outcome> {
        self.our_turn(stage).await?;
        let read = timeout(self.timeouts.reply, self.client.cmd(command)).await;
        let reply = self.in_time(stage, read)?;
        expect(stage, &reply, wanted)?;
        Ok(reply)
    }

    async fn our_turn(&mut self, stage: Stage) -> Result<(), Outcome> {
        let quiet = self.client.stream.quiet().await;
        quiet.map_err(|error| later(stage, &error.to_string()))
    }

    /// What a step gave, unless it came late, or more came with it.
    fn in_time<T>(
        &self,
        stage: Stage,
        read: Result<mail_send::Result<T>, tokio::time::error::Elapsed>,
    ) -> Result<T, Outcome> {
        let read = read.map_err(|_| later(stage, &late(self.timeouts.reply)))?;
        if let Err(error) = self.client.stream.nothing_more() {
            return Err(later(stage, &error.to_string()));
        }
        read.map_err(|error| match error {
            Error::UnexpectedReply(reply) | Error::AuthenticationFailed(reply) => turned_down(stage, &reply),
            other => later(stage, &said_of(other)),
        })
    }
}

#[cfg(test)]
mod tests;
