use serde_json::{Value, json};

use super::*;

/// The table that ships.
fn document() -> Value {
    toml::from_str(include_str!("../../../../config/cultivars.toml")).unwrap()
}

fn shipped() -> Cultivars {
    Cultivars::read(&document()).unwrap()
}

/// Ontario ministry of agriculture, precision pruning trial (published): flower
/// buds for each final fruit.
#[test]
fn buds_for_each_fruit() {
    for (name, buds) in [
        ("Honeycrisp", 2.5),
        ("Jonagold", 2.5),
        ("Empire", 2.0),
        ("McIntosh", 2.0),
        ("Gala", 1.8),
        ("Idared", 2.0),
    ] {
        let figure = shipped().of(name).buds_per_fruit;
        assert_eq!((figure.value, figure.status), (buds, Status::Published), "{name}");
    }
}

/// UMass fact sheet, 2017 (factors derived): 4 fruit per cm² of those that bear
/// every other year, 6 of 'Gala' and 'McIntosh'; their stand-down lines are
/// constructed and practice.
#[test]
fn those_that_bear_every_other_year_carry_less_and_stand_down_later() {
    for (name, biennial, line, density) in [
        ("Honeycrisp", true, (2.5, Status::Constructed), (4.0, Status::Derived)),
        ("Fuji", true, (2.5, Status::Constructed), (4.0, Status::Derived)),
        ("York Imperial", true, (2.5, Status::Constructed), (4.0, Status::Derived)),
        ("Gala", false, (4.0, Status::Practice), (6.0, Status::Derived)),
        ("McIntosh", false, (4.0, Status::Practice), (6.0, Status::Derived)),
        ("Jonagold", false, (4.0, Status::Practice), (6.0, Status::Constructed)),
    ] {
        let cultivar = shipped().of(name);
        assert_eq!(cultivar.biennial, biennial, "{name}");
        assert_eq!((cultivar.stand_down_line.value, cultivar.stand_down_line.status), line, "{name}");
        assert_eq!((cultivar.fruit_per_cm2.value, cultivar.fruit_per_cm2.status), density, "{name}");
        assert_eq!(cultivar.flowers_per_cluster.value, 5.0);
    }
}

#[test]
fn a_cultivar_is_found_by_any_of_its_names_in_any_case() {
    for name in ["Gala", " gala ", "ROYAL GALA"] {
        let cultivar = shipped().of(name);
        assert_eq!((cultivar.name.as_str(), cultivar.listed), ("Gala", true));
        assert!(!cultivar.told().contains("not in the table"));
    }
}

#[test]
fn one_that_is_not_listed_says_so() {
    let cultivar = shipped().of("Idared");
    assert_eq!((cultivar.name.as_str(), cultivar.listed, cultivar.biennial), ("Idared", false, false));
    assert!(cultivar.told().starts_with("`Idared` is not in the table of cultivars; the default figures"));
    assert!(!shipped().of("default").listed && !shipped().of("biennial").listed);
}

#[test]
fn a_figure_of_the_row_outranks_that_of_the_biennial_row() {
    let mut document = document();
    document["fuji"]["stand_down_line"] = json!({"value": 3, "source": "own trial", "status": "measured"});
    let fuji = Cultivars::read(&document).unwrap().of("Fuji");
    assert_eq!((fuji.stand_down_line.value, fuji.fruit_per_cm2.value), (3.0, 4.0));
    assert!(fuji.told().contains("3 (own trial; measured)"), "{}", fuji.told());
}

#[test]
fn what_is_wrong_with_the_table_is_named_at_its_place() {
    for (pointer, value, at, words) in [
        ("/default", Value::Null, "/default", "expected a table"),
        ("/default/buds_per_fruit", Value::Null, "/default/buds_per_fruit", "is missing"),
        ("/gala/buds_per_fruit", json!(1.8), "/gala/buds_per_fruit", "expected a table"),
        ("/gala/buds_per_fruit/value", json!(0), "/gala/buds_per_fruit/value", "outside 1 to 20"),
        ("/gala/buds_per_fruit/source", Value::Null, "/gala/buds_per_fruit/source", "is missing"),
        ("/gala/buds_per_fruit/status", json!("read"), "/gala/buds_per_fruit/status", "practice"),
        ("/gala/name", json!(" "), "/gala/name", "blank"),
        ("/gala/name", json!("FUJI"), "/gala/name", "stands in `fuji` already"),
        ("/fuji/biennial", json!("no"), "/fuji/biennial", "true or false"),
    ] {
        let mut document = document();
        *document.pointer_mut(pointer).unwrap() = value;
        let faults = Cultivars::read(&document).unwrap_err();
        assert_eq!(faults.0.len(), 1, "{faults}");
        assert_eq!(faults.0[0].pointer, at);
        assert!(faults.0[0].detail.contains(words), "{faults}");
    }
    let none = Cultivars::read(&json!({})).unwrap_err();
    assert_eq!(none.0[0].pointer, "/default");
    let mut misspelt = document();
    misspelt["gala"]["bud_per_fruit"] = json!(2);
    assert_eq!(Cultivars::read(&misspelt).unwrap_err().0[0].pointer, "/gala/bud_per_fruit");
}
