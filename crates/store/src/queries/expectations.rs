//! What was expected of seasons, kept as it was said.

use model::time::{HOUR, Instant};
use sqlx::QueryBuilder;

use super::wall::{self, Of};
use super::{Connection, Db, Pools};
use crate::rows::{Expectation, Expected, Reckoned};
use crate::{ROWS_A_STATEMENT, Result, read, text};

/// Of forecasts of so long the first counts: more of them say the same.
const ONE_IN: i64 = 6 * HOUR;

/// Adds what is expected of seasons that are being written, once for each stretch of
/// issues.
pub(super) async fn write(connection: &mut Connection, seasons: &[&Reckoned]) -> Result<()> {
    let rows: Vec<(&Reckoned, &Expectation)> = seasons
        .iter()
        .flat_map(|season| season.expected.iter().map(|expected| (*season, expected)))
        .collect();
    for chunk in rows.chunks(ROWS_A_STATEMENT) {
        let mut query = QueryBuilder::<Db>::new(
            "INSERT INTO expectation (block_id, year, subject, stretch, issued_at, odds) ",
        );
        query.push_values(chunk, |mut row, (season, expected)| {
            row.push_bind(&season.block_id)
                .push_bind(i64::from(season.year))
                .push_bind(&expected.subject)
                .push_bind(expected.issued_at.0.div_euclid(ONE_IN))
                .push_bind(expected.issued_at.0)
                .push_bind(text::of(&expected.odds));
        });
        query.push(" ON CONFLICT (block_id, year, subject, stretch) DO NOTHING");
        query.build().persistent(false).execute(&mut *connection).await?;
    }
    Ok(())
}

pub(crate) async fn expected_of(
    db: &Pools,
    block_id: &str,
    from: Instant,
    limit: u32,
) -> Result<Vec<Expected>> {
    let mut tx = db.begin_read().await?;
    if !wall::sees(&mut tx, db, Of::Block(block_id)).await? {
        return Ok(Vec::new());
    }
    let rows: Vec<(i64, String, i64, String)> = sqlx::query_as(
        "SELECT year, subject, issued_at, odds FROM expectation WHERE block_id = $1 AND issued_at >= $2 \
         ORDER BY issued_at, subject LIMIT $3",
    )
    .bind(block_id)
    .bind(from.0)
    .bind(i64::from(limit))
    .fetch_all(&mut *tx)
    .await?;
    let expected = |(year, subject, issued_at, odds): (i64, String, i64, String)| {
        let odds = text::doc(&odds, || format!("what was expected of block {block_id} at {issued_at}"))?;
        let expectation = Expectation { subject, issued_at: Instant(issued_at), odds };
        Ok(Expected { block_id: block_id.to_owned(), year: read::bloom_year(year)?, expectation })
    };
    rows.into_iter().map(expected).collect()
}
