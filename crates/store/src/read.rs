//! Columns to rows. The lists of columns and their types stand side by side so
//! that every query takes them in one order.

use model::series::{Flag, Kind, Reading};
use model::time::Instant;
use model::units::Units;

use crate::rows::*;
use crate::{Result, StoreError, text};

/// The columns of a row, for `concat!` into a query.
macro_rules! columns {
    (farm) => {
        "farm.id, farm.name, farm.alert_emails, farm.created_at, farm.closed_at"
    };
    (site) => {
        "site.id, site.farm_id, site.name, site.latitude, site.longitude, site.elevation_m, \
         site.time_zone, site.version, site.created_at"
    };
    (source) => {
        "source.id, source.site_id, source.name, source.way, source.provider, source.cell, \
         source.kind, source.trust, source.mapping, source.created_at"
    };
    (block) => {
        "block.id, block.farm_id, block.site_id, block.name, block.details, block.geometry, \
         block.version, block.created_at, block.archived_at"
    };
    (alert) => {
        "alert.id, alert.block_id, alert.year, alert.kind, alert.subject, alert.generation, \
         alert.status, alert.reason, alert.about, alert.raised_at, alert.useful_until, \
         alert.withdrawn_at, alert.acknowledged_at"
    };
    (message) => {
        "message.id, message.header_id, message.recipient, message.body, message.composed_at, \
         message.state, message.attempts, message.next_try_at, message.last_error, \
         message.sent_at, message.purpose, message.useful_until"
    };
    (hook) => {
        "hook.id, hook.farm_id, hook.name, hook.url, hook.kinds, hook.secrets, hook.created_at, \
         hook.off_at, hook.off_because, hook.version"
    };
    (hook_call) => {
        "hook_call.id, hook_call.hook_id, hook_call.alert_id, hook_call.kind, hook_call.body, \
         hook_call.created_at, hook_call.state, hook_call.attempts, hook_call.tries, \
         hook_call.replayed_at, hook_call.next_try_at, hook_call.last_status, \
         hook_call.last_error, hook_call.done_at, hook_call.token"
    };
    (person) => {
        "person.id, person.email, person.name, person.password, person.operator, person.created_at, \
         person.units"
    };
    (membership) => {
        "membership.person_id, membership.farm_id, membership.role, membership.since"
    };
    (credential) => {
        "credential.id, credential.kind, credential.person_id, credential.name, credential.hash, \
         credential.scope, credential.created_at, credential.expires_at, credential.last_used_at, \
         credential.revoked_at"
    };
    (link) => {
        "link.id, link.kind, link.hash, link.email, link.farm_id, link.role, link.made_by, \
         link.created_at, link.expires_at, link.used_at"
    };
    (audit) => {
        "audit.number, audit.at, audit.farm_id, audit.person_id, person.name, audit.credential_id, \
         audit.request_id, audit.deed, audit.kind, audit.subject, audit.year, audit.detail"
    };
    (contact) => {
        "contact.id, contact.farm_id, contact.name, contact.email, contact.pending_email, \
         contact.asked_at, contact.confirmed_at, contact.wishes, contact.version, contact.created_at"
    };
    (log_entry) => {
        "log_entry.id, log_entry.at, log_entry.kind, log_entry.doc, log_entry.received_at"
    };
    (reading) => {
        "reading.at, reading.span, reading.celsius, reading.flag"
    };
}
pub(crate) use columns;

/// The version of a block's weather, for `concat!` into a query over `block`
/// and its `site`: it rises with that of each site at which it ever was.
macro_rules! weather_version {
    () => {
        "site.version + coalesce((SELECT CAST(sum(earlier.version) AS BIGINT) FROM stay \
         JOIN site AS earlier ON earlier.id = stay.site_id WHERE stay.block_id = block.id), 0)"
    };
}
pub(crate) use weather_version;

/// The wall between farms, for `concat!` into the query of a list: whether the
/// viewer bound as `$viewer` has a role on the farm of a column. A site of the
/// server has no farm and is seen by all.
macro_rules! seen_by {
    ($viewer:literal, $farm:literal) => {
        concat!(
            "(",
            $viewer,
            " IS NULL OR ",
            $farm,
            " IN (SELECT membership.farm_id FROM membership WHERE membership.person_id = ",
            $viewer,
            "))"
        )
    };
}
pub(crate) use seen_by;

pub(crate) type FarmColumns = (String, String, String, i64, Option<i64>);

pub(crate) fn farm((id, name, emails, created_at, closed_at): FarmColumns) -> Result<Farm> {
    Ok(Farm {
        alert_emails: text::list(&emails, || format!("addresses of farm `{id}`"))?,
        id,
        name,
        created_at: Instant(created_at),
        closed_at: closed_at.map(Instant),
    })
}

pub(crate) type SiteColumns = (String, Option<String>, String, f64, f64, Option<f64>, String, i64, i64);

pub(crate) fn site(columns: SiteColumns) -> Result<Site> {
    let (id, farm_id, name, latitude, longitude, elevation_m, time_zone, version, created_at) = columns;
    let created_at = Instant(created_at);
    Ok(Site { id, farm_id, name, latitude, longitude, elevation_m, time_zone, version, created_at })
}

pub(crate) type SourceColumns =
    (String, String, String, String, Option<String>, Option<String>, String, i64, Option<String>, i64);

pub(crate) fn source(columns: SourceColumns) -> Result<Source> {
    let (id, site_id, name, way, provider, cell, kind, trust, mapping, created_at) = columns;
    let what = |column: &str| format!("{column} of source `{id}`");
    Ok(Source {
        way: word(Way::named(&way), &way, || what("way"))?,
        kind: word(Kind::named(&kind), &kind, || what("kind"))?,
        mapping: mapping.map(|doc| text::doc(&doc, || what("mapping"))).transpose()?,
        id,
        site_id,
        name,
        provider,
        cell,
        trust,
        created_at: Instant(created_at),
    })
}

pub(crate) type BlockColumns =
    (String, String, String, String, String, Option<String>, i64, i64, Option<i64>);

pub(crate) fn block(columns: BlockColumns) -> Result<Block> {
    let (id, farm_id, site_id, name, details, geometry, version, created_at, archived_at) = columns;
    let details = text::doc(&details, || format!("details of block `{id}`"))?;
    let geometry = geometry.map(|doc| text::doc(&doc, || format!("geometry of block `{id}`"))).transpose()?;
    let created_at = Instant(created_at);
    let archived_at = archived_at.map(Instant);
    Ok(Block { id, farm_id, site_id, name, details, geometry, version, created_at, archived_at })
}

pub(crate) type AlertColumns = (
    String,
    String,
    i64,
    String,
    String,
    i64,
    String,
    Option<String>,
    String,
    i64,
    i64,
    Option<i64>,
    Option<i64>,
);

pub(crate) fn alert(columns: AlertColumns) -> Result<AlertRow> {
    let (id, block_id, year, kind, subject, generation, status, reason, about, raised, useful, back, seen) =
        columns;
    Ok(AlertRow {
        year: bloom_year(year)?,
        status: word(AlertStatus::named(&status), &status, || format!("status of alert `{id}`"))?,
        about: text::doc(&about, || format!("text of alert `{id}`"))?,
        id,
        block_id,
        kind,
        subject,
        generation,
        reason,
        raised_at: Instant(raised),
        useful_until: Instant(useful),
        withdrawn_at: back.map(Instant),
        acknowledged_at: seen.map(Instant),
        mailed: false,
    })
}

pub(crate) type MessageColumns = (
    String,
    String,
    String,
    String,
    i64,
    String,
    i64,
    Option<i64>,
    Option<String>,
    Option<i64>,
    String,
    Option<i64>,
);

pub(crate) fn message(columns: MessageColumns) -> Result<Message> {
    let (id, header_id, recipient, body, composed, state, attempts, next, last_error, sent, purpose, useful) =
        columns;
    Ok(Message {
        purpose: word(Purpose::named(&purpose), &purpose, || format!("purpose of message `{id}`"))?,
        useful_until: useful.map(Instant),
        state: word(MessageState::named(&state), &state, || format!("state of message `{id}`"))?,
        id,
        header_id,
        recipient,
        body,
        composed_at: Instant(composed),
        attempts,
        next_try_at: next.map(Instant),
        last_error,
        sent_at: sent.map(Instant),
    })
}

pub(crate) type ContactColumns =
    (String, String, String, String, Option<String>, i64, Option<i64>, String, i64, i64);

pub(crate) fn contact(columns: ContactColumns) -> Result<Contact> {
    let (id, farm_id, name, email, pending_email, asked, confirmed, wishes, version, created) = columns;
    Ok(Contact {
        wishes: text::doc(&wishes, || format!("wishes of contact `{id}`"))?,
        id,
        farm_id,
        name,
        email,
        pending_email,
        asked_at: Instant(asked),
        confirmed_at: confirmed.map(Instant),
        version,
        created_at: Instant(created),
    })
}

pub(crate) type HookColumns =
    (String, String, String, String, Option<String>, String, i64, Option<i64>, Option<String>, i64);

pub(crate) fn hook(columns: HookColumns) -> Result<Hook> {
    let (id, farm_id, name, url, kinds, secrets, created_at, off_at, off_because, version) = columns;
    Ok(Hook {
        kinds: kinds.map(|kinds| text::list(&kinds, || format!("kinds of hook `{id}`"))).transpose()?,
        secrets: HookSecret::from_doc(&text::doc(&secrets, || format!("secrets of hook `{id}`"))?),
        id,
        farm_id,
        name,
        url,
        created_at: Instant(created_at),
        off_at: off_at.map(Instant),
        off_because,
        version,
    })
}

pub(crate) type HookCallColumns = (
    String,
    String,
    Option<String>,
    String,
    Option<String>,
    i64,
    String,
    i64,
    i64,
    Option<i64>,
    Option<i64>,
    Option<i64>,
    Option<String>,
    Option<i64>,
    i64,
);

/// A call, and the token of its last lease.
pub(crate) fn hook_call(columns: HookCallColumns) -> Result<(HookCall, i64)> {
    let (
        id,
        hook_id,
        alert_id,
        kind,
        body,
        created_at,
        state,
        attempts,
        tries,
        replayed_at,
        next_try_at,
        last_status,
        last_error,
        done_at,
        token,
    ) = columns;
    let call = HookCall {
        state: word(CallState::named(&state), &state, || format!("state of call `{id}`"))?,
        id,
        hook_id,
        alert_id,
        kind,
        body,
        created_at: Instant(created_at),
        attempts,
        tries,
        replayed_at: replayed_at.map(Instant),
        next_try_at: next_try_at.map(Instant),
        last_status,
        last_error,
        done_at: done_at.map(Instant),
    };
    Ok((call, token))
}

pub(crate) type PersonColumns = (String, String, String, Option<String>, i64, i64, Option<String>);

pub(crate) fn person(columns: PersonColumns) -> Result<Person> {
    let (id, email, name, password, operator, created_at, units) = columns;
    let units = match units {
        None => Units::Both,
        Some(units) => word(Units::named(&units), &units, || format!("units of `{id}`"))?,
    };
    Ok(Person { id, email, name, password, operator: operator != 0, created_at: Instant(created_at), units })
}

pub(crate) type MembershipColumns = (String, String, String, i64);

pub(crate) fn membership((person_id, farm_id, role, since): MembershipColumns) -> Result<Membership> {
    let role = word(Role::named(&role), &role, || format!("role of `{person_id}` on farm `{farm_id}`"))?;
    Ok(Membership { person_id, farm_id, role, since: Instant(since) })
}

pub(crate) type CredentialColumns =
    (String, String, Option<String>, String, String, String, i64, Option<i64>, Option<i64>, Option<i64>);

pub(crate) fn credential(columns: CredentialColumns) -> Result<Credential> {
    let (id, kind, person_id, name, hash, scope, created, expires, used, revoked) = columns;
    Ok(Credential {
        kind: word(CredentialKind::named(&kind), &kind, || format!("kind of token `{id}`"))?,
        scope: word(Scope::named(&scope), &scope, || format!("scope of token `{id}`"))?,
        id,
        person_id,
        name,
        hash,
        created_at: Instant(created),
        expires_at: expires.map(Instant),
        last_used_at: used.map(Instant),
        revoked_at: revoked.map(Instant),
    })
}

pub(crate) type LinkColumns = (
    String,
    String,
    String,
    Option<String>,
    Option<String>,
    Option<String>,
    Option<String>,
    i64,
    i64,
    Option<i64>,
);

pub(crate) fn link(columns: LinkColumns) -> Result<Link> {
    let (id, kind, hash, email, farm_id, role, made_by, created, expires, used) = columns;
    let role = match role {
        Some(role) => Some(word(Role::named(&role), &role, || format!("role of link `{id}`"))?),
        None => None,
    };
    Ok(Link {
        kind: word(LinkKind::named(&kind), &kind, || format!("kind of link `{id}`"))?,
        id,
        hash,
        email,
        farm_id,
        role,
        made_by,
        created_at: Instant(created),
        expires_at: Instant(expires),
        used_at: used.map(Instant),
    })
}

pub(crate) type AuditColumns = (
    i64,
    i64,
    Option<String>,
    Option<String>,
    Option<String>,
    Option<String>,
    String,
    String,
    String,
    String,
    Option<i64>,
    Option<String>,
);

pub(crate) fn audit(columns: AuditColumns) -> Result<Audit> {
    let (
        number,
        at,
        farm_id,
        person_id,
        person,
        credential_id,
        request_id,
        deed,
        kind,
        subject,
        year,
        detail,
    ) = columns;
    Ok(Audit {
        year: year.map(bloom_year).transpose()?,
        detail: detail.map(|doc| text::doc(&doc, || format!("audit entry {number}"))).transpose()?,
        number,
        at: Instant(at),
        farm_id,
        person_id,
        person,
        credential_id,
        request_id,
        deed,
        kind,
        subject,
    })
}

pub(crate) type LogEntryColumns = (String, i64, String, String, i64);

pub(crate) fn log_entry((id, at, kind, doc, received_at): LogEntryColumns) -> Result<LogEntry> {
    Ok(LogEntry {
        doc: text::doc(&doc, || format!("log entry `{id}`"))?,
        id,
        at: Instant(at),
        kind,
        received_at: Instant(received_at),
    })
}

pub(crate) type ReadingColumns = (i64, i64, f64, i64);

pub(crate) fn reading((at, span, celsius, flag): ReadingColumns) -> Result<Reading> {
    let what = || format!("flag of the reading at {}", Instant(at));
    let flag = word(Flag::numbered(flag), &flag.to_string(), what)?;
    Ok(Reading { at: Instant(at), span, celsius, flag })
}

/// A year as it was stored.
pub(crate) fn bloom_year(year: i64) -> Result<i32> {
    word(i32::try_from(year).ok(), &year.to_string(), || "year of a season".into())
}

pub(crate) fn word<T>(known: Option<T>, word: &str, what: impl FnOnce() -> String) -> Result<T> {
    known.ok_or_else(|| StoreError::Unreadable { what: what(), why: format!("`{word}`") })
}
