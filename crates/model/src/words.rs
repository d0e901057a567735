//! Cautions in the words that people are shown.

/// The short form that each plan, alert and spray page carries.
pub const CAUTION: &str = "Read and follow the label: it is the law. \
Local registration and licensed advice come first. This is an estimate.";

/// Until someone has confirmed a material for a block, this goes with it.
pub const UNCONFIRMED: &str = "No one has confirmed here that this material is registered for this use \
where you are, nor that its label allows use in bloom. Check both before it goes into a tank.";

/// No re-entry time is recorded.
pub const NO_REENTRY: &str = "No re-entry time is recorded for this block: \
go by the label before anyone goes in.";

/// A block is closed until a time, which is told on the wall clock of who reads.
pub fn nobody_before(until: &str) -> String {
    format!("Nobody works in the block before {until}.")
}

/// Neither curve that ships was measured on one cultivar.
pub const NOT_CULTIVAR_SPECIFIC: &str = "This curve was put together from general figures, not measured on this \
cultivar; the two curves that ship lie up to half a day apart in a real spring.";

/// Stands in each entry of a calendar: programs that show calendars fetch when they
/// like.
pub const NOT_THE_ALERT: &str = "This calendar is a plan to look at, not the alert: some programs fetch it \
once a day, and nothing rings here when a time changes. Word of what is due comes by mail.";

/// The page on care: each topic with its sentences, in general terms. What the
/// label and local advice say of a product comes before all of it.
pub const CARE: &[(&str, &[&str])] = &[
    (
        "Before anything else",
        &[
            CAUTION,
            "A material may go on only where it is registered for this use and where its label allows use in \
             bloom. Someone has to look that up and confirm it here with name and date; until then it stands \
             everywhere as unconfirmed.",
            "The program knows no products. It reckons times and amounts; what goes on, and whether, is \
             decided by you and the label.",
        ],
    ),
    (
        "In the tank and on the tree",
        &[
            "Never put two thinners into one tank, nor one on top of the other before its time: what each \
             does alone says little of what they do together.",
            "Oil, sulfur, captan, copper, acids and foliar feeds can burn flowers, leaves and fruit together \
             with a thinner, in the same tank or on the same tree. Find out from both labels how many days \
             have to lie between them, before and after, and look into the spray record first.",
            "Oil belongs with lime sulfur only where the label says so and how.",
            "Lime sulfur with anything acid gives off hydrogen sulfide, a poison gas. Keep acids, acid feeds \
             and water made acid away from it, and rinse tank and hoses before and after.",
            "Know whether a rate means volume or weight of product, and of which volume of finished spray: \
             sources differ, and the wrong one can double what goes on.",
        ],
    ),
    (
        "Weather around the spray",
        &[
            "Heat makes burning worse: general advice is never to spray sulfur or salts above 85 °F (29 °C), \
             and to stop well below that where air is humid.",
            "What dries slowly acts longer and harder. Humid air, calm nights, dew and light rain keep flowers \
             wet or wet them again.",
            "Rain soon after a spray can wash it off or carry it where it harms; whether it took is then open. \
             Look at the flowers before the next one.",
            "Frost before or after changes everything: hurt flowers thin themselves, and hurt tissue burns. \
             After a cold night count live flowers first, and hold off while frost is in the forecast.",
        ],
    ),
    (
        "Trees that bear less",
        &[
            "Young, weak or stressed trees, and trees short of water, take harm from what others bear.",
            "Cultivars prone to russet may show it on the fruit at harvest. Try a few trees first.",
            "What is thinned off does not come back. Where few flowers are alive, not to spray is an answer.",
        ],
    ),
    (
        "How often",
        &[
            "Labels limit how many applications, or how much in all, a block may get in a season, and how long \
             to wait between two. Count those of other uses of the same material too.",
        ],
    ),
    (
        "People",
        &[
            "These materials burn eyes and skin and irritate lungs. Wear what the label names for eyes, hands, \
             body and breathing, for mixing as well as for spraying.",
            "Keep clean water for eyes and skin at hand where you mix and on the sprayer, and know where help \
             can be had.",
            "Nobody goes into a block before its re-entry time, not to count either. Where that is not \
             recorded, the label says it.",
            "Post the block where the rules or the label ask for it, and tell everyone who works nearby before \
             you start.",
        ],
    ),
    (
        "Drift",
        &[
            "Keep spray away from people, houses, roads, water and wells, hives, and neighbours' crops.",
            "Pollinizer trees may need their flowers longer than the block does. Know where they stand before \
             you turn the sprayer on.",
            "Too little wind can be as bad as too much: in still evening air the finest drops hang and move as \
             one cloud.",
        ],
    ),
    (
        "Bees",
        &[
            "A block in bloom is full of bees. Tell beekeepers in time, and spray when few are flying, as far \
             as the label allows spraying in bloom at all.",
            "Honey bees stay in with the sun down or under 10 °C (50 °F). Wild bees and bumble bees fly \
             cooler, earlier and later. The same quiet hours of the night are the ones in which spray dries \
             slowly: both stand beside each hour, and you weigh them.",
        ],
    ),
    (
        "Disease first",
        &[
            "In warm, wet bloom fire blight and scab do not wait. What protects against them comes first, and \
             the thinner finds its place around it, with the days between that the labels ask for.",
        ],
    ),
    (
        "What the figures are",
        &["Times come from temperatures, counts and a general growth curve. They are an estimate with a \
             range: look at the flowers and the tree before you decide."],
    ),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_page_on_care_names_every_topic() {
        let page: String =
            CARE.iter().flat_map(|(head, says)| [*head].into_iter().chain(says.iter().copied())).collect();
        let page = page.to_lowercase();
        for topic in [
            "registered",
            "allows use in bloom",
            "oil",
            "sulfur",
            "captan",
            "copper",
            "acids",
            "foliar feeds",
            "two thinners",
            "poison gas",
            "heat",
            "humid",
            "dries slowly",
            "dew",
            "rain",
            "frost before or after",
            "young",
            "weak",
            "stressed",
            "russet",
            "season",
            "between two",
            "eyes",
            "skin",
            "breathing",
            "clean water",
            "re-entry",
            "post the block",
            "people",
            "water",
            "hives",
            "pollinizer",
            "disease",
            "10 °c",
            "wild bees",
            "label",
            "licensed advice",
            "an estimate",
        ] {
            assert!(page.contains(topic), "{topic}");
        }
    }

    #[test]
    fn nothing_is_called_safe_or_legal() {
        for (head, says) in CARE {
            for text in [head].into_iter().chain(*says) {
                let words = text.to_lowercase();
                for claim in ["safe", "legal", "complian", "approved"] {
                    assert!(!words.contains(claim), "{text}");
                }
            }
        }
    }
}
