use api::Amiss;
use serde_json::json;

use super::*;
use crate::words::english;

fn amiss(pointer: &str, detail: &str) -> Amiss {
    Amiss { pointer: pointer.into(), detail: detail.into() }
}

fn undone(status: u16, errors: Vec<Amiss>) -> Undone {
    Undone { status, detail: "No longer as it was read".into(), errors }
}

fn sent(pairs: &[(&str, &str)]) -> Sent {
    pairs.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect()
}

#[test]
fn numbers_are_read_as_people_type_them() {
    assert_eq!(number("115"), json!(115));
    assert_eq!(number("8,8"), json!(8.8));
    assert_eq!(number("−2.5"), json!(-2.5));
    // Fifteen hundred to some, one and a half to others: not to be guessed.
    assert_eq!(number("1,500"), json!("1,500"));
    assert_eq!(number("many"), json!("many"));
    assert_eq!(number("inf"), json!("inf"));
}

#[test]
fn a_fault_stands_at_the_nearest_field_and_else_above_all() {
    let fields = vec![
        Field::number("target.boxes_per_area", "Boxes"),
        Field::number("target", "Target"),
        Field::line("marks", "Marks"),
        Field::hidden("tag", "x").at("/name"),
    ];
    let errors = vec![
        amiss("/target/boxes_per_area", "too many"),
        amiss("/target/trees_per_area", "is missing"),
        amiss("/targets", "is not a field"),
        amiss("marks", "is no number"),
        amiss("/name", "is blank"),
    ];
    let form = Form::new(english(), "Save", vec![Group::of(fields)]).refused(&undone(422, errors));
    let wrong: Vec<_> = form.groups[0].fields.iter().map(Field::told).collect();
    assert_eq!(wrong, ["Too many.", "Is missing.", "Is no number.", ""]);
    assert_eq!(form.wrong, ["targets: is not a field", "name: is blank"]);
}

#[test]
fn a_folded_group_opens_when_something_is_in_it() {
    let group = |value: &str| Group::headed("More", vec![Field::line("a", "A").value(value)]).folded();
    assert!(group("x").is_open() && !group("").is_open());
}

/// A form that holds what stands there now.
fn of_two_kinds(name: &str) -> Form {
    let choices =
        [("due", "Due"), ("frost", "Frost")].map(|(value, said)| (value.to_owned(), said.to_owned()));
    let fields = vec![
        Field::line("name", "Name").value("<Runa>"),
        Field::ticks("kinds", "Kinds", choices.to_vec()).value("due"),
        Field::tick("stand_in", "Stands in"),
    ];
    Form::new(english(), "Save", vec![Group::of(fields)]).named(name).held(Some("\"2\"".into()))
}

#[test]
fn what_was_typed_stays_with_its_faults_and_the_tag_it_was_typed_over() {
    let typed = sent(&[
        ("name", " <b> "),
        ("kinds", "due"),
        ("kinds", "frost"),
        ("stand_in", "yes"),
        ("tag", "\"1\""),
    ]);
    let tried = Tried::new("a", typed, undone(422, vec![amiss("/name", "is blank")])).unwrap();
    let page = of_two_kinds("a").after(Some(&tried)).render().unwrap();
    for part in [
        "id=\"a-name\" name=\"name\" value=\" &#60;b&#62; \"",
        "aria-invalid=\"true\" aria-describedby=\"a-name-wrong\"",
        "<p class=\"wrong\" id=\"a-name-wrong\">Is blank.</p>",
        "<li><a href=\"#a-name\">Name</a>: is blank</li>",
        "value=\"frost\" checked",
        "value=\"yes\" checked",
        "name=\"tag\" value=\"&#34;1&#34;\"",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let other = of_two_kinds("b").after(Some(&tried)).render().unwrap();
    assert!(
        other.contains("id=\"b-name\"") && !other.contains("wrong") && !other.contains("frost\" checked"),
        "{other}"
    );
}

#[test]
fn who_comes_second_keeps_what_was_typed_and_reads_what_stands_there_now() {
    let typed = sent(&[("name", "Ruth"), ("kinds", "due"), ("stand_in", "yes"), ("tag", "\"1\"")]);
    let tried = Tried::new("a", typed, undone(412, Vec::new())).unwrap();
    let page = of_two_kinds("a").after(Some(&tried)).render().unwrap();
    for part in [
        english().get("settings.changed_meanwhile"),
        "value=\"Ruth\"",
        "aria-describedby=\"a-name-now\"",
        "id=\"a-name-now\">Stands there now: &#60;Runa&#62;</p>",
        "id=\"a-stand_in-now\">Stands there now: no</p>",
        "name=\"tag\" value=\"&#34;2&#34;\"",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    assert!(!page.contains("a-kinds-now"), "nobody changed the kinds: {page}");
}

#[test]
fn what_no_typing_mends_is_no_form() {
    assert!(Tried::new("a", Sent::default(), undone(403, Vec::new())).is_err());
    assert!(Tried::new("a", Sent::default(), undone(500, Vec::new())).is_err());
}
