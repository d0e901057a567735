//! The way to the mail server, which can be shut.

use std::net::SocketAddr;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use tokio::io::copy_bidirectional;
use tokio::net::{TcpListener, TcpSocket, TcpStream};
use tokio::task::{JoinHandle, JoinSet};

/// How the way is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Way {
    Open,
    /// Nobody listens.
    Refuses,
    /// Connections are taken and nothing is ever said.
    Swallows,
    /// Connections are taken and reset.
    Resets,
}

/// An address before the mail server that stays the same.
pub(crate) struct Door {
    pub(crate) addr: SocketAddr,
    to: SocketAddr,
    held: Arc<Mutex<Vec<TcpStream>>>,
    serving: Option<JoinHandle<()>>,
}

impl Door {
    pub(crate) async fn before(to: SocketAddr) -> Door {
        let socket = listen("127.0.0.1:0".parse().unwrap()).await;
        let addr = socket.local_addr().unwrap();
        let mut door = Door { addr, to, held: Arc::default(), serving: None };
        door.serve(socket, Way::Open);
        door
    }

    pub(crate) async fn set(&mut self, way: Way) {
        if let Some(serving) = self.serving.take() {
            serving.abort();
            let _ = serving.await;
        }
        self.let_go();
        if way != Way::Refuses {
            let socket = listen(self.addr).await;
            self.serve(socket, way);
        }
    }

    fn serve(&mut self, socket: TcpListener, way: Way) {
        let (to, held) = (self.to, self.held.clone());
        self.serving = Some(tokio::spawn(async move {
            // What is open ends with this task.
            let mut open = JoinSet::new();
            while let Ok((mut from, _)) = socket.accept().await {
                match way {
                    Way::Open => {
                        open.spawn(async move {
                            let mut to = TcpStream::connect(to).await.unwrap();
                            let _ = copy_bidirectional(&mut from, &mut to).await;
                        });
                    }
                    Way::Swallows => held.lock().unwrap().push(from),
                    Way::Resets => from.set_zero_linger().unwrap(),
                    Way::Refuses => {}
                }
            }
        }));
    }

    /// How many connections are held in silence.
    pub(crate) fn held(&self) -> usize {
        self.held.lock().unwrap().len()
    }

    /// Ends the connections that were held: what the sender's own deadline of five
    /// minutes does, for which no trial waits.
    pub(crate) fn let_go(&self) {
        self.held.lock().unwrap().clear();
    }
}

async fn listen(addr: SocketAddr) -> TcpListener {
    for _ in 0..200 {
        let socket = TcpSocket::new_v4().unwrap();
        socket.set_reuseaddr(true).unwrap();
        if socket.bind(addr).is_ok() {
            return socket.listen(1024).unwrap();
        }
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    panic!("{addr} does not come free");
}
