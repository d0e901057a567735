//! From the first start to a grower with a token: links, pages, roles, over the
//! running program.

use black_box::program::{Build, Program, command, run};
use reqwest::header::{COOKIE, LOCATION, SET_COOKIE};
use reqwest::{Client, Response, StatusCode};
use serde_json::{Value, json};

struct Browser {
    client: Client,
    server: String,
}

impl Browser {
    fn new(server: &str) -> Browser {
        let _ = rustls::crypto::ring::default_provider().install_default();
        let client =
            Client::builder().no_proxy().redirect(reqwest::redirect::Policy::none()).build().unwrap();
        Browser { client, server: server.to_owned() }
    }

    async fn open(&self, path: &str, cookie: &str) -> Response {
        self.client.get(format!("{}{path}", self.server)).header(COOKIE, cookie).send().await.unwrap()
    }

    async fn send(&self, path: &str, fields: &str) -> Response {
        let post = self.client.post(format!("{}{path}", self.server)).body(fields.to_owned());
        let form = "application/x-www-form-urlencoded";
        post.header("content-type", form).header("sec-fetch-site", "same-origin").send().await.unwrap()
    }

    /// Signs in and gives the cookie; `lands` is where it leads to.
    async fn sign_in(&self, email: &str, password: &str, lands: &str) -> Option<String> {
        let answer = self.send("/sign-in", &format!("email={email}&password={password}")).await;
        let cookie = answer.headers().get(SET_COOKIE)?.to_str().unwrap().to_owned();
        assert_eq!(answer.headers()[LOCATION], lands);
        cookie.split(';').next().map(str::to_owned)
    }

    async fn api(&self, token: &str, method: &str, path: &str, body: Value) -> (StatusCode, Value) {
        let method = method.parse().unwrap();
        let request = self.client.request(method, format!("{}/api/v1/{path}", self.server)).json(&body);
        let answer = request.bearer_auth(token).send().await.unwrap();
        (answer.status(), answer.json().await.unwrap_or_default())
    }
}

fn path_of(link: &str, server: &str) -> String {
    link.strip_prefix(server).unwrap_or_else(|| panic!("{link} lies on {server}")).to_owned()
}

#[tokio::test]
async fn from_the_first_start_to_a_grower_with_a_token() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let (database, mails) = (at("b.db"), at("mail"));
    let serve = || {
        let settings = ["serve", "--database", &database, "--mail-folder", &mails, "--listen", "127.0.0.1:0"];
        Program::start(command(Build::Plain, &settings))
    };
    const CLAIM: &str = "take this server over, the link works once: ";

    // A server that nobody claimed makes a new link at each start.
    let mut program = serve();
    let first = program.line(CLAIM);
    let token = program.line("token for the API, shown this once: ");
    assert!(program.stop());
    let mut program = serve();
    let api = program.line("bloomtide serves ");
    let server = api.trim_end_matches("/api/v1").to_owned();
    let browser = Browser::new(&server);
    let claim = path_of(&program.line(CLAIM), &server);
    let old = format!("/claim/{}", first.rsplit('/').next().unwrap());
    assert_eq!(browser.open(&old, "").await.status(), StatusCode::NOT_FOUND);
    assert_eq!(browser.open(&claim, "").await.status(), StatusCode::OK);
    let taken =
        browser.send(&claim, "name=Ole&email=ole%40larkmoor.example&password=pears+before+apples").await;
    assert_eq!(taken.status(), StatusCode::SEE_OTHER);
    // A server without a block leads its operator to the first one.
    let cookie = browser.sign_in("ole%40larkmoor.example", "pears+before+apples", "/begin").await.unwrap();
    let home = browser.open("/", &cookie).await.text().await.unwrap();
    assert!(home.contains("Signed in as Ole") && home.contains("You run this server"), "{home}");

    // Farms of two growers, and an invitation to one.
    for farm in ["alder", "birch"] {
        let (status, _) = browser.api(&token, "POST", "farms", json!({"id": farm, "name": farm})).await;
        assert_eq!(status, StatusCode::CREATED);
    }
    let invited = json!({"email": "ines@larkmoor.example", "role": "grower"});
    let (status, invitation) = browser.api(&token, "POST", "farms/alder/invitations", invited).await;
    assert_eq!(status, StatusCode::CREATED);
    let link = invitation["path"].as_str().unwrap();
    let accepted = browser.send(link, "name=Ines&password=plums+after+cherries").await;
    assert_eq!(accepted.status(), StatusCode::SEE_OTHER);
    let cookie = browser.sign_in("ines%40larkmoor.example", "plums+after+cherries", "/today").await.unwrap();
    let home = browser.open("/", &cookie).await.text().await.unwrap();
    assert!(home.contains("alder: grower") && !home.contains("birch"), "{home}");

    // A claimed server shows no link again, and a cookie is no token.
    assert!(program.stop());
    let mut program = serve();
    let server = program.line("bloomtide serves ").trim_end_matches("/api/v1").to_owned();
    program.line("no mail server is set");
    assert!(!program.seen().iter().any(|line| line.contains("/claim/")), "{:?}", program.seen());
    let browser = Browser::new(&server);
    let secret = cookie.split_once('=').unwrap().1;
    assert_eq!(browser.api(secret, "GET", "farms", json!(null)).await.0, StatusCode::UNAUTHORIZED);

    // The password is lost: the operator makes a link, beside the running server.
    let reset = run(
        Build::Plain,
        &["user", "reset", "--database", &database, "--public-url", &server, "Ines@larkmoor.example"],
    );
    let said = String::from_utf8(reset.stdout).unwrap();
    assert!(reset.status.success(), "{said}");
    let link = path_of(said.trim().rsplit(' ').next().unwrap(), &server);
    let chosen = browser.send(&link, "password=quinces+in+october").await;
    assert_eq!(chosen.status(), StatusCode::SEE_OTHER);
    assert_eq!(browser.open("/", &cookie).await.headers()[LOCATION], "/sign-in", "signed out everywhere");
    assert!(browser.sign_in("ines%40larkmoor.example", "plums+after+cherries", "/").await.is_none());
    assert!(browser.sign_in("ines%40larkmoor.example", "quinces+in+october", "/today").await.is_some());
    let nobody = run(Build::Plain, &["user", "reset", "--database", &database, "eve@larkmoor.example"]);
    assert_eq!(nobody.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&nobody.stderr).contains("nobody here has the address"));
    assert!(program.stop());
}
