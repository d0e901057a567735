//! The schema's steps, embedded.

use sqlx::AssertSqlSafe;
use sqlx::SqlSafeStr;
use sqlx::migrate::{Migration, MigrationType, Migrator};

/// Number, name and text of each step, in order. A step that has been released
/// is never edited: a later one changes what it made.
const STEPS: &[(i64, &str, &str)] = &[
    (1, "first", include_str!("../../../migrations/0001_first.sql")),
    (2, "people", include_str!("../../../migrations/0002_people.sql")),
    (3, "notes", include_str!("../../../migrations/0003_notes.sql")),
    (4, "answers", include_str!("../../../migrations/0004_answers.sql")),
    (5, "outlines", include_str!("../../../migrations/0005_outlines.sql")),
    (6, "closing", include_str!("../../../migrations/0006_closing.sql")),
    (7, "moves", include_str!("../../../migrations/0007_moves.sql")),
    (8, "feeds", include_str!("../../../migrations/0008_feeds.sql")),
    (9, "archive", include_str!("../../../migrations/0009_archive.sql")),
    (10, "decision", include_str!("../../../migrations/0010_decision.sql")),
    (11, "delivery", include_str!("../../../migrations/0011_delivery.sql")),
    (12, "hooks", include_str!("../../../migrations/0012_hooks.sql")),
    (13, "calendar", include_str!("../../../migrations/0013_calendar.sql")),
    (14, "expected", include_str!("../../../migrations/0014_expected.sql")),
    (15, "units", include_str!("../../../migrations/0015_units.sql")),
];

/// The table in which the steps taken are kept.
pub(crate) const TABLE: &str = "_sqlx_migrations";

/// The schema version that this program needs.
pub const LATEST: i64 = STEPS[STEPS.len() - 1].0;

/// Stands in the steps behind a table whose rows the database may keep in the
/// order of the key.
const CLUSTERED: &str = "/* clustered */";

/// The steps in the words of one database.
pub(crate) fn migrator(clustered: &str) -> Migrator {
    let step = |&(number, name, sql): &(i64, &'static str, &str)| {
        let sql = AssertSqlSafe(sql.replace(CLUSTERED, clustered)).into_sql_str();
        Migration::new(number, name.into(), MigrationType::Simple, sql, false)
    };
    Migrator::with_migrations(STEPS.iter().map(step).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_numbered_without_holes_and_all_embedded() {
        let numbers: Vec<i64> = STEPS.iter().map(|step| step.0).collect();
        assert_eq!(numbers, (1..=STEPS.len() as i64).collect::<Vec<_>>());
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../migrations");
        let entries = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
        let files = entries.filter(|path| path.is_file()).count();
        assert_eq!(files, STEPS.len(), "every file in {folder} is a step");
    }

    #[test]
    fn steps_keep_to_what_both_databases_understand() {
        for (_, name, sql) in STEPS {
            for word in ["CURRENT_TIMESTAMP", "SERIAL", "AUTOINCREMENT", "JSONB", "TIMESTAMP"] {
                assert!(!sql.to_uppercase().contains(word), "{word} in {name}");
            }
        }
    }
}
