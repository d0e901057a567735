//! How much of anything a request may bring or ask for, each with its reason.

use std::time::Duration;

/// Largest JSON body, bytes. The longest log of a season is some 100 kB, and a
/// year of hand-typed hourly readings fits.
pub(crate) const JSON_BYTES: usize = 1024 * 1024;
/// Largest station file: what the parser itself takes.
pub(crate) const UPLOAD_BYTES: u64 = weather::station_file::MAX_FILE_BYTES;
/// Files read at once: each may hold some 200 MB of readings in memory.
pub(crate) const UPLOADS_AT_ONCE: usize = 4;
/// Chunks of a file that wait for the parser, so that a fast line does not
/// fill the memory while the parser is busy.
pub(crate) const CHUNKS_WAITING: usize = 16;
/// Longest silence within a body before the request is given up.
pub(crate) const BODY_SILENCE: Duration = Duration::from_secs(30);
/// Bytes of a refused body that are still read and thrown away: a client that
/// is not read from does not see the answer either. Beyond that the line is
/// closed on it.
pub(crate) const DISCARDED_BYTES: u64 = 64 * 1024 * 1024;

/// Requests of one token at once: many for a program, few enough that one token
/// does not take every connection of the database for long.
pub(crate) const REQUESTS_AT_ONCE: u32 = 64;
/// Longest that a request may take, silences in its body aside.
pub(crate) const LONGEST_REQUEST: Duration = Duration::from_secs(120);

/// Deeds of one person that their copy holds, the latest.
pub(crate) const DEEDS: u32 = 10_000;
/// Blocks of one import.
pub(crate) const IMPORTED: usize = 2_000;
/// Blocks of one board: a region, some megabytes.
pub(crate) const BOARD: u32 = 10_000;

/// Seasons of one calendar, two years of a large farm's: some megabytes.
pub(crate) const CALENDAR_SEASONS: u32 = 2_000;

/// Callers of whom a copy is kept.
pub(crate) const CALLERS_KEPT: usize = 1_000;
/// Seasons of which a copy is kept: some 50 MB at most.
pub(crate) const SEASONS_KEPT: usize = 10_000;

/// Blocks that one change or note is for.
pub(crate) const MANY: usize = 1_000;

/// Hooks of one farm: each alert is called out to all of them.
pub(crate) const HOOKS: usize = 20;
/// Longest address of a hook, bytes.
pub(crate) const URL_BYTES: usize = 2_000;
/// Secrets that sign a call at once: each makes its header longer.
pub(crate) const HOOK_SECRETS: usize = 5;

/// Entries of one list unless asked for fewer or more.
pub(crate) const PAGE: u32 = 200;
/// Most entries of one list.
pub(crate) const LONGEST_PAGE: u32 = 1_000;
/// Readings of one list unless asked for fewer or more: six weeks by the hour.
pub(crate) const READINGS_PAGE: u32 = 1_000;
/// Most readings of one list: more than a year by the hour.
pub(crate) const LONGEST_READINGS_PAGE: u32 = 10_000;

/// Longest name of anything, in characters; a mail's subject must hold it.
pub(crate) const NAME_CHARS: usize = 200;
/// Longest id that a client gives, in characters: it stands in paths.
pub(crate) const ID_CHARS: usize = 64;
/// Mail addresses of one farm.
pub(crate) const EMAILS: usize = 50;
/// Longest mail address, RFC 5321.
pub(crate) const EMAIL_CHARS: usize = 254;
/// Sources of one site; the joining of readings goes through all of them.
pub(crate) const SOURCES_PER_SITE: usize = 20;
/// Readings typed in at once.
pub(crate) const HAND_READINGS: usize = 10_000;
/// Log entries written at once: a phone back from weeks without signal.
pub(crate) const ENTRIES: usize = 1_000;
/// Longest stretch that one timeline shows, seconds: a year.
pub(crate) const TIMELINE_SECONDS: i64 = 366 * model::time::DAY;
