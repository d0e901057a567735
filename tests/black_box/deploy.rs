//! What stands in `deploy/` does what it says: the unit, and the proxy.

use std::path::Path;
use std::process::{Child, Command, Stdio};

use black_box::program::{Build, Program, command, eventually, path};

fn deployed(name: &str) -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../deploy").join(name)).unwrap()
}

#[test]
fn systemd_takes_the_unit_and_finds_it_closed() {
    let folder = tempfile::tempdir().unwrap();
    let unit = folder.path().join("bloomtide.service");
    let program = path(Build::Plain).display().to_string();
    let text = deployed("bloomtide.service").replace("/usr/local/bin/bloomtide", &program);
    std::fs::write(&unit, text).unwrap();
    let ask = |arguments: &[&str]| {
        let output = Command::new("systemd-analyze").args(arguments).arg(&unit).output();
        let output = output.expect("systemd-analyze is there: tests/run installs it");
        let said = [output.stdout, output.stderr].concat();
        let said = String::from_utf8_lossy(&said).into_owned();
        assert!(output.status.success(), "{arguments:?}: {said}");
        said
    };
    let said = ask(&["verify", "--man=no"]);
    assert!(!said.contains("bloomtide.service"), "not a word about it: {said}");
    // 0 is closed, 10 is open; a hardened service lies under 2.
    let said = ask(&["security", "--offline=true", "--threshold=20"]);
    assert!(said.contains("exposure level"), "{said}");
}

/// nginx, killed when dropped.
struct Proxy(Child);

impl Drop for Proxy {
    fn drop(&mut self) {
        let pid = self.0.id().to_string();
        let _ = Command::new("kill").args(["-TERM", &pid]).status();
        let _ = self.0.wait();
    }
}

fn free_port() -> u16 {
    std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port()
}

#[tokio::test]
async fn people_sign_in_through_the_proxy() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let (database, mails) = (at("b.db"), at("mail"));
    let mut program = Program::start(command(
        Build::Plain,
        &[
            "serve",
            "--database",
            &database,
            "--mail-folder",
            &mails,
            "--listen",
            "127.0.0.1:0",
            "--public-url",
            "https://bloom.example",
            "--trusted-proxy",
            "127.0.0.1",
        ],
    ));
    let service = program.line("bloomtide serves http://").trim_end_matches("/api/v1").to_owned();
    let claim = program.line("take this server over, the link works once: ");
    let claim = claim.strip_prefix("https://bloom.example").unwrap().to_owned();

    let made = Command::new("openssl")
        .args(["req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=bloom.example"])
        .args([
            "-addext",
            "subjectAltName=DNS:bloom.example",
            // One that signs for others is not taken as a server's own.
            "-addext",
            "basicConstraints=critical,CA:FALSE",
            "-keyout",
            &at("privkey.pem"),
            "-out",
            &at("fullchain.pem"),
        ])
        .stderr(Stdio::null())
        .status()
        .unwrap();
    assert!(made.success());
    let (https, http) = (free_port(), free_port());
    let site = deployed("nginx.conf")
        .replace("listen 443 ssl", &format!("listen 127.0.0.1:{https} ssl"))
        .replace("listen 80", &format!("listen 127.0.0.1:{http}"))
        .replace("/etc/ssl/bloom.example", &folder.path().display().to_string())
        .replace("127.0.0.1:8420", &service);
    let here = folder.path().display();
    let whole = format!(
        "daemon off; pid {here}/pid; error_log {here}/error.log;\nevents {{}}\nhttp {{ access_log off;\n\
         client_body_temp_path {here}/a; proxy_temp_path {here}/b; fastcgi_temp_path {here}/c; \
         uwsgi_temp_path {here}/d; scgi_temp_path {here}/e;\n{site}\n}}\n"
    );
    std::fs::write(at("nginx.conf"), whole).unwrap();
    let nginx = Command::new("nginx").args(["-c", &at("nginx.conf"), "-e", &at("error.log")]).spawn();
    let proxy = Proxy(nginx.expect("nginx is there: tests/run installs it"));

    let _ = rustls::crypto::ring::default_provider().install_default();
    let certificate = reqwest::Certificate::from_pem(&std::fs::read(at("fullchain.pem")).unwrap()).unwrap();
    let client = reqwest::Client::builder()
        .no_proxy()
        .tls_certs_only([certificate])
        .resolve("bloom.example", ([127, 0, 0, 1], https).into())
        .redirect(reqwest::redirect::Policy::none())
        .build()
        .unwrap();
    let server = format!("https://bloom.example:{https}");
    eventually("nginx answers", async || client.get(format!("{server}/healthz")).send().await.ok()).await;
    let form = |path: &str, fields: &str| {
        let post = client.post(format!("{server}{path}")).body(fields.to_owned());
        post.header("content-type", "application/x-www-form-urlencoded")
            .header("sec-fetch-site", "same-origin")
    };
    let claimed = form(&claim, "name=Ole&email=ole%40larkmoor.example&password=pears+before+apples");
    assert_eq!(claimed.send().await.unwrap().status(), 303);
    let signed =
        form("/sign-in", "email=ole%40larkmoor.example&password=pears+before+apples").send().await.unwrap();
    let cookie = signed.headers()["set-cookie"].to_str().unwrap();
    assert!(cookie.starts_with("__Host-bloomtide=") && cookie.contains("Secure"), "{cookie}");
    assert!(signed.headers().contains_key("strict-transport-security"));

    // Past HTTPS and past the proxy nobody signs in.
    let plain =
        reqwest::Client::builder().no_proxy().redirect(reqwest::redirect::Policy::none()).build().unwrap();
    let moved =
        plain.get(format!("http://127.0.0.1:{http}/sign-in")).header("host", "bloom.example").send().await;
    assert_eq!(moved.unwrap().headers()["location"], "https://bloom.example/sign-in");
    drop(proxy);
    assert!(program.stop());
}
