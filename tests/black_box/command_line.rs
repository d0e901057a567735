//! Help that a newcomer can follow, and errors that say what to do.

use black_box::program::{Build, run};

#[test]
fn help_names_every_command_in_plain_words() {
    let help = String::from_utf8(run(Build::Plain, &["--help"]).stdout).unwrap();
    for command in ["serve", "demo", "replay", "fit", "mix", "import", "user", "migrate"] {
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

/// Common practice, no source: 2.5 % by volume in 100 US gal of finished spray an acre
/// is 2.5 US gal of product an acre; units by definition.
#[test]
fn a_tank_is_mixed_on_the_command_line() {
    let flags = [
        "--basis",
        "product-by-volume",
        "--volume-per-area",
        "100 US-gal/acre",
        "--area",
        "3 acre",
        "--tank",
        "150 US-gal",
    ];
    let mixed =
        run(Build::Plain, &[&["mix", "--format", "json", "--rate", "2.5 percent"][..], &flags].concat());
    assert!(mixed.status.success(), "{}", String::from_utf8_lossy(&mixed.stderr));
    let mix: serde_json::Value = serde_json::from_slice(&mixed.stdout).unwrap();
    let whole = |value: &serde_json::Value, number: f64| (value.as_f64().unwrap() - number).abs() < 1e-6;
    assert!(whole(&mix["product"]["us_gallons"], 7.5), "{mix}");
    assert!(whole(&mix["spray"]["us_gallons"], 300.0) && mix["full_tanks"] == 2, "{mix}");
    assert!((mix["product_per_hectare"]["litres"].as_f64().unwrap() - 23.385).abs() < 0.001, "{mix}");
    // Without a rate the material's usual one stands in; without an area nothing is mixed.
    let usual =
        run(Build::Plain, &[&["mix", "--material", "ammonium-thiosulfate"][..], &flags[2..]].concat());
    assert!(String::from_utf8_lossy(&usual.stdout).contains("7.5 US gal) of product"), "{usual:?}");
    let nowhere = run(Build::Plain, &["mix", "--rate", "2.5 percent", "--basis", "product-by-volume"]);
    assert_eq!(nowhere.status.code(), Some(2));
    let said = String::from_utf8_lossy(&nowhere.stderr).into_owned();
    assert!(said.contains("/area") && said.contains("/tank"), "{said}");
}

/// Tubes that grew at constant temperatures give a curve that a season file takes;
/// too few temperatures are refused in words.
#[test]
fn a_curve_is_fitted_on_the_command_line() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tubes.toml");
    let seen = |celsius: f64, rate: f64| {
        let row = |hours: f64| {
            format!("[[observations]]\ncelsius = {celsius}\nhours = {hours}\nlength_mm = {}\n", rate * hours)
        };
        [row(24.0), row(48.0)].concat()
    };
    let head = "form = \"nodes\"\nunit = \"mm-per-hour\"\nsource = \"made for this test\"\nzero_below = 5.0\nzero_above = 40.0\n";
    std::fs::write(&path, format!("{head}{}{}{}", seen(12.0, 0.1), seen(18.0, 0.2), seen(24.0, 0.3)))
        .unwrap();
    let file = path.display().to_string();
    let picture = folder.path().join("fit.svg").display().to_string();
    let fitted = run(Build::Plain, &["fit", &file, "--picture", &picture]);
    let said = String::from_utf8_lossy(&fitted.stdout).into_owned();
    assert!(fitted.status.success(), "{}", String::from_utf8_lossy(&fitted.stderr));
    assert!(said.contains("curve = {") && said.contains("made for this test"), "{said}");
    assert!(std::fs::read_to_string(&picture).unwrap().contains("<svg"));
    std::fs::write(&path, format!("{head}{}", seen(12.0, 0.1))).unwrap();
    let refused = run(Build::Plain, &["fit", &file]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("one temperature only"), "{refused:?}");
}
