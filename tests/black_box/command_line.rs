//! Help that a newcomer can follow, and errors that say what to do.

use black_box::program::{Build, run};

#[test]
fn help_names_every_command_in_plain_words() {
    let help = String::from_utf8(run(Build::Plain, &["--help"]).stdout).unwrap();
    for command in ["serve", "demo", "replay", "import", "user", "migrate"] {
        assert!(help.contains(&format!("  {command} ")), "{command}: {help}");
        let own = run(Build::Plain, &[command, "--help"]);
        assert!(own.status.success());
        assert!(String::from_utf8_lossy(&own.stdout).contains("Usage: bloomtide"), "{command}");
    }
    assert!(help.contains("bloomtide demo"), "{help}");
}

#[test]
fn settings_that_are_wrong_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let database = folder.path().join("b.db").display().to_string();
    let config = folder.path().join("settings.toml");
    std::fs::write(&config, "databse = \"x.db\"\n").unwrap();
    let config = config.display().to_string();
    let cases: [(&[&str], &str); 11] = [
        (&["--listen", "8420"], "--listen: `8420` is not an address"),
        (&["--mail-from", "nobody"], "--mail-from"),
        (&["--smtp", "mail.example"], "--smtp"),
        (&["--config", &config], "/databse: is not a field here"),
        (&["--open-meteo-url", "weather"], "feed open-meteo: "),
        (&["--open-meteo-url", "ftp://weather.example"], "expected http:// or https://"),
        // A server on one's own network is asked only when it is named.
        (&["--open-meteo-url", "http://192.168.1.5:8080"], "name 192.168.1.5 among the allowed hosts"),
        (&["--allow-feed-hosts", "weather.lan,http://10.0.0.5"], "`http://10.0.0.5` is no host"),
        (&["--feeds", "open-meteo,skywatch"], "--feeds: `skywatch` is no feed; there are "),
        // Those that answer nobody unknown are refused before the service starts.
        (&["--feeds", "nws"], "contact"),
        (&["--feeds", "met-norway"], "contact"),
    ];
    for (flags, words) in cases {
        let refused = run(Build::Plain, &[&["serve", "--database", &database], flags].concat());
        let said = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert_eq!(refused.status.code(), Some(2), "{flags:?}: {said}");
        assert!(said.contains(words), "{flags:?}: {said}");
    }
}

#[test]
fn a_demo_touches_no_folder_that_is_not_empty() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("mine.txt"), "mine").unwrap();
    let refused = run(Build::Plain, &["demo", "--exit", "--dir", &folder.path().display().to_string()]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("not empty"));
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
}
