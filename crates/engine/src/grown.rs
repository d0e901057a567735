//! Growth of the seasons of one place and window, and the odds of what lies ahead, each
//! part made once.

use std::collections::HashMap;
use std::sync::Arc;

use model::air::Air;
use model::block::{Block, Offset};
use model::curve::Curve;
use model::field_log::FieldLog;
use model::growth::{Course, Growth};
use model::odds::{self, Fault, Foretold, Line, Outlook, SeasonOdds, Tubes};
use model::plan::Plan;
use model::pollination::Bees;
use model::season::{self, Season};
use model::series::Series;
use model::site::Place;
use model::slot::Hours;
use model::sun::Sun;
use model::time::Instant;

use crate::ahead::{AIR_AHEAD, AIR_BEFORE, Ahead};

/// Day and night offset of a block, to the bit.
type Apart = (u64, u64);

/// Courses and growth of one place and window, each made once.
pub(crate) struct Grown {
    place: Option<Place>,
    air: Vec<Vec<Air>>,
    /// The site's own course under no offset.
    courses: HashMap<Apart, Arc<Course>>,
    growths: HashMap<(Apart, String), Growth>,
    ahead: Option<Ahead>,
    outlooks: HashMap<Apart, Result<Arc<Outlook>, Fault>>,
    tubes: HashMap<(Apart, String), Arc<Tubes>>,
    hours: HashMap<Apart, Arc<Hours>>,
}

impl Grown {
    pub(crate) fn on(
        series: Series,
        air: Vec<Vec<Air>>,
        place: Option<Place>,
        ahead: Option<Ahead>,
    ) -> Grown {
        let mut grown = Grown {
            place,
            air,
            courses: HashMap::new(),
            growths: HashMap::new(),
            ahead,
            outlooks: HashMap::new(),
            tubes: HashMap::new(),
            hours: HashMap::new(),
        };
        let site = grown.summed(series);
        grown.courses.insert(apart(None), Arc::new(site));
        grown
    }

    fn summed(&self, series: Series) -> Course {
        match &self.place {
            Some(place) => {
                let bees = Bees::judge(&series, &self.air, place);
                Course::new(series).with_bees(bees)
            }
            None => Course::new(series),
        }
    }

    /// Growth of a block in its own air; curves written into a block are its own.
    pub(crate) fn growth(&mut self, block: &Block) -> Growth {
        self.growth_on(block.offset.as_ref(), &block.curve)
    }

    fn growth_on(&mut self, offset: Option<&Offset>, curve: &Arc<Curve>) -> Growth {
        let key = (apart(offset), curve.id.clone());
        match self.growths.get(&key) {
            Some(growth) if growth.curve() == curve.as_ref() => growth.clone(),
            _ => {
                let growth = Growth::new(self.course(offset), curve.clone());
                self.growths.insert(key, growth.clone());
                growth
            }
        }
    }

    /// A season as it now is.
    pub(crate) fn season(&mut self, plan: &Plan, log: &FieldLog, now: Instant) -> Season {
        let outlook = self.outlook(plan.block.offset.as_ref(), now).and_then(Result::ok);
        season::reckon_under(plan, log, &self.growth(&plan.block), outlook.as_deref(), now)
    }

    /// The odds of a season of now.
    pub(crate) fn odds(
        &mut self,
        plan: &Plan,
        log: &FieldLog,
        season: &Season,
        curves: &[Arc<Curve>],
        now: Instant,
    ) -> Option<SeasonOdds> {
        let offset = plan.block.offset.as_ref();
        let outlook = match self.outlook(offset, now)? {
            Ok(outlook) => outlook,
            Err(fault) => return Some(SeasonOdds::without(&fault, now)),
        };
        let lines: Vec<(Growth, Arc<Tubes>, f64)> = odds::curves_in_doubt(&plan.block.curve, curves)
            .into_iter()
            .map(|(curve, weight)| {
                (self.growth_on(offset, &curve), self.tubes_on(offset, &outlook, &curve), weight)
            })
            .collect();
        let lines: Vec<Line<'_>> =
            lines.iter().map(|(growth, tubes, weight)| Line { growth, tubes, weight: *weight }).collect();
        Some(odds::of(plan, log, season, &outlook, &lines, now))
    }

    /// The air hour by hour at a block, from some days before now on.
    pub(crate) fn hours(&mut self, offset: Option<&Offset>, now: Instant) -> Option<Arc<Hours>> {
        let key = apart(offset);
        if let Some(hours) = self.hours.get(&key) {
            return Some(hours.clone());
        }
        let course = self.course(offset);
        let air = &self.ahead.as_ref()?.air;
        let hours = Hours::of(course.series(), air, now.plus(-AIR_BEFORE), now.plus(AIR_AHEAD));
        let hours = Arc::new(hours);
        self.hours.insert(key, hours.clone());
        Some(hours)
    }

    /// The sun over the place.
    pub(crate) fn sun(&self) -> Option<Sun> {
        self.place.as_ref().map(|place| Sun::at(place.latitude, place.longitude))
    }

    fn outlook(&mut self, offset: Option<&Offset>, now: Instant) -> Option<Result<Arc<Outlook>, Fault>> {
        let key = apart(offset);
        if let Some(outlook) = self.outlooks.get(&key) {
            return Some(outlook.clone());
        }
        let ahead = self.ahead.as_ref()?;
        let foretold = Foretold { issued_at: ahead.issued_at, members: &ahead.members };
        let outlook = Outlook::new(&self.courses[&apart(None)], &foretold, &ahead.errors, now);
        let outlook = outlook.map(|outlook| match (offset, &self.place) {
            (Some(offset), Some(place)) => Arc::new(outlook.at_block(offset, place)),
            _ => Arc::new(outlook),
        });
        self.outlooks.insert(key, outlook.clone());
        Some(outlook)
    }

    fn tubes_on(&mut self, offset: Option<&Offset>, outlook: &Outlook, curve: &Arc<Curve>) -> Arc<Tubes> {
        let key = (apart(offset), curve.id.clone());
        match self.tubes.get(&key) {
            Some(tubes) if tubes.curve() == curve.as_ref() => tubes.clone(),
            _ => {
                let tubes = Arc::new(outlook.on(curve));
                self.tubes.insert(key, tubes.clone());
                tubes
            }
        }
    }

    fn course(&mut self, offset: Option<&Offset>) -> Arc<Course> {
        let site = self.courses[&apart(None)].clone();
        let (Some(offset), Some(place)) = (offset, &self.place) else { return site };
        let key = apart(Some(offset));
        if let Some(course) = self.courses.get(&key) {
            return course.clone();
        }
        let course = Arc::new(self.summed(site.series().at_block(offset, place)));
        self.courses.insert(key, course.clone());
        course
    }
}

fn apart(offset: Option<&Offset>) -> Apart {
    // Adding zero makes -0.0 the 0.0 of no offset.
    offset.map_or((0, 0), |offset| ((offset.day_c + 0.0).to_bits(), (offset.night_c + 0.0).to_bits()))
}
