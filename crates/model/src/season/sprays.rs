//! Which spray ends a leg.

use crate::field_log::{Observed, Spray, Standing};
use crate::materials::{ActsOnFlowers, Role};
use crate::plan::Plan;
use crate::season::notes::Note;
use crate::time::Instant;

/// What a spray does to the clock.
pub(super) enum Reset {
    /// It ends the running leg.
    Ends {
        /// When it was finished.
        finished_at: Instant,
    },
    /// The clock goes on.
    No,
}

/// When a spray was finished, or is to be by what was logged.
pub(super) fn finish(entry: &Standing<'_>) -> Option<Instant> {
    match entry.says {
        Observed::Spray(spray) => spray.finished_at,
        _ => None,
    }
}

/// Judges one spray after the start; `sprayed` legs have ended before it.
pub(super) fn resets(
    plan: &Plan,
    entry: &Standing<'_>,
    sprayed: usize,
    now: Instant,
    notes: &mut Vec<Note>,
) -> Reset {
    let Observed::Spray(spray) = entry.says else {
        return Reset::No;
    };
    if !thins(plan, entry, spray, notes) {
        return Reset::No;
    }
    let name = &spray.material;
    if !spray.took {
        notes.push(Note::on(
            entry,
            "spray-spoiled",
            format!("The spray of {name} did not take, so the clock runs on."),
        ));
        return Reset::No;
    }
    if spray.share_of_block < 1.0 {
        let text = format!(
            "Only {:.0} % of the block got {name}, so the clock runs on; correct the entry when the rest is sprayed.",
            spray.share_of_block * 100.0
        );
        notes.push(Note::on(entry, "spray-partial", text));
        return Reset::No;
    }
    let Some(finished_at) = spray.finished_at else {
        let text = format!("The spray of {name} has no finish yet: it is a draft, and the clock runs on.");
        notes.push(Note::on(entry, "spray-draft", text));
        return Reset::No;
    };
    if finished_at > now {
        let text = format!(
            "The finish of this spray of {name} lies after now, at {finished_at}: until then the clock runs on."
        );
        notes.push(Note::on(entry, "spray-under-way", text));
        return Reset::No;
    }
    if let Some(planned) = plan.when_sprayed(sprayed, entry.at)
        && planned.material != *name
    {
        let text = format!("{name} went on where {} was planned.", planned.material);
        notes.push(Note::on(entry, "spray-other-material", text));
    }
    Reset::Ends { finished_at }
}

fn thins(plan: &Plan, entry: &Standing<'_>, spray: &Spray, notes: &mut Vec<Note>) -> bool {
    if let Some(thins) = spray.thins {
        return thins;
    }
    if plan.names(&spray.material) {
        return true;
    }
    let material = plan.materials.iter().find(|material| material.id == spray.material);
    let why = match material.map(|material| (material.role, material.acts_on_flowers)) {
        Some((Role::Other, ActsOnFlowers::No)) => return false,
        Some((Role::Thinner, _)) => "thins, but the plan does not name it",
        Some((_, ActsOnFlowers::Unknown)) => "may act on flowers; nobody has said",
        Some(_) => "is known to act on flowers",
        None => "is not known here",
    };
    let text = format!(
        "{} {why}: say with `thins` whether it was meant to thin. Until then the clock runs on.",
        spray.material
    );
    notes.push(Note::on(entry, "spray-asks", text));
    false
}

/// Notes where sprays of one material are more, or closer together, than was kept of
/// it: read off its label by who added it. One that rain washed off went on all the
/// same.
pub(super) fn note_limits(plan: &Plan, sprays: &[&Standing<'_>], notes: &mut Vec<Note>) {
    for material in plan.materials.iter() {
        let own = |entry: &&&Standing<'_>| matches!(entry.says, Observed::Spray(spray) if spray.material == material.id);
        let (most, apart) = (material.season_maximum, material.minimum_interval_hours);
        if most.is_none() && apart.is_none() {
            continue;
        }
        let own: Vec<&&Standing<'_>> = sprays.iter().filter(own).collect();
        if let Some(most) = most.and_then(|most| usize::try_from(most).ok())
            && let Some(entry) = own.get(most)
        {
            let text = format!(
                "This is spray {} of {}; {most} in a season are kept as the most. Read the label.",
                most + 1,
                material.name
            );
            notes.push(Note::on(entry, "season-maximum", text));
        }
        for pair in own.windows(2) {
            let hours = pair[1].at.since(finish(pair[0]).unwrap_or(pair[0].at)) as f64 / 3_600.0;
            if let Some(apart) = apart.filter(|apart| hours < *apart) {
                let text = format!(
                    "{hours:.0} hours after the last spray of {}; at least {apart:.0} are kept for it. Read the label.",
                    material.name
                );
                notes.push(Note::on(pair[1], "minimum-interval", text));
            }
        }
    }
}

/// Notes the thinning sprays that went on before the clock started.
pub(super) fn note_before_start(
    plan: &Plan,
    sprays: &[&Standing<'_>],
    start: Option<Instant>,
    notes: &mut Vec<Note>,
) {
    for entry in sprays {
        let Observed::Spray(spray) = entry.says else { continue };
        if spray.thins == Some(false) || start.is_some_and(|start| entry.at >= start) {
            continue;
        }
        if spray.thins == Some(true) || plan.names(&spray.material) {
            let text = format!("{} went on while no leg ran, so it resets nothing.", spray.material);
            notes.push(Note::on(entry, "spray-before-start", text));
        }
    }
}
