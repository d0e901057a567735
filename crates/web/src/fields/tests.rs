use api::Amiss;

use super::*;
use crate::words::english;

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
        Field::number("boxes", "Boxes").at("/target/boxes_per_area"),
        Field::number("target", "Target").at("/target"),
        Field::hidden("tag", "x").at("/name"),
    ];
    let error = |pointer: &str, detail: &str| Amiss { pointer: pointer.into(), detail: detail.into() };
    let undone = Undone {
        status: 422,
        detail: "4 things are wrong".into(),
        errors: vec![
            error("/target/boxes_per_area", "too many"),
            error("/target/trees_per_area", "is missing"),
            error("/targets", "is not a field"),
            error("/name", "is blank"),
        ],
    };
    let form = Form::new("Save", vec![Group::of(fields)]).refused(&undone, english());
    let wrong: Vec<_> = form.groups[0].fields.iter().map(|field| field.wrong.concat()).collect();
    assert_eq!(wrong, ["too many", "is missing", ""]);
    assert_eq!(form.wrong, ["targets: is not a field", "name: is blank"]);
}

#[test]
fn a_folded_group_opens_when_something_is_in_it() {
    let group = |value: &str| Group::headed("More", vec![Field::line("a", "A").value(value)]).folded();
    assert!(group("x").is_open() && !group("").is_open());
}
