//! The pole, how it fits its hole, how deep it stands and how much earth that moves.

use super::hole::Hole;
use super::layout::letters::Weight;
use super::limits;
use super::words::Units;
use super::worth::Quantity;
use crate::entry::Said;
use crate::judge::limits::Measurand;
use crate::judge::{Figure, Standing};
use crate::readiness::Structure;
use crate::readiness::frame::Frame;
use crate::readiness::leg::Leg;
use crate::readiness::words::{arm, volume};
use crate::sheet::{Butt, LegPlan};
use crate::structure::joint::{Joint, Seat};

/// Why there is nothing to say of a hole's fit without a sheet.
const NO_SHEET: &str = "no structure sheet on record plans this hole";

/// The fit of the pole, this leg's seat and the leg; or why there is none.
fn fit<'a>(hole: &Hole<'a>) -> Result<(&'a Frame, &'a Joint, &'a Seat, &'a Leg<'a>), String> {
    let Some(structure) = hole.structure else { return Err(NO_SHEET.to_owned()) };
    let Some((n, leg)) = hole.leg().filter(|(_, leg)| leg.plan.is_some()) else { return Err(NO_SHEET.to_owned()) };
    if hole.counting().is_none() {
        return Err(format!("attempt {} counts for this leg, and fit is judged of that", leg.hole.attempt));
    }
    let frame = &structure.frame;
    match frame.fit.as_ref().and_then(|fit| Some((fit, fit.legs.get(n)?))) {
        Some((fit, seat)) => Ok((frame, fit, seat, leg)),
        None if frame.unknown.is_empty() => Err(NO_SHEET.to_owned()),
        None => Err(frame.unknown.join("; ")),
    }
}

/// Whether the pole fits, for the first page.
#[must_use]
pub fn answer(hole: &Hole<'_>) -> Vec<(Weight, String)> {
    let units = hole.units();
    let (frame, fit, seat, _) = match fit(hole) {
        Ok(found) => found,
        Err(why) => return vec![(Weight::Strong, "Not known whether it fits".to_owned()), (Weight::Regular, format!(": {why}."))],
    };
    let room = fit.most;
    let worth = units.worth(Quantity::Offset, room);
    let lacking = frame.room.iter().any(|verdict| verdict.plain == Standing::Outside);
    let (head, least) = match room.value {
        value if value <= 0.0 => (format!("Does not fit: room {worth}"), ""),
        _ if lacking => (format!("Goes in with too little room: {worth}"), ""),
        value if value <= room.expanded => (format!("Fits as measured, not shown: {worth}"), " of room"),
        _ => (format!("Fits, with {worth}"), " of room"),
    };
    let joint = fit.legs.len() > 1;
    let stands = if joint { "the frame stands" } else { "it stands" };
    let mut said = format!("{least} all round, where {stands} {}; {} at the stake", units.place(fit.shift), units.short(seat.at_stake));
    if joint {
        said = format!("{said}; this leg alone {}", units.short(seat.room));
    }
    let mut out = vec![(Weight::Strong, head)];
    match frame.room.first() {
        None => out.push((Weight::Regular, format!("{said}. How much tamping wants, no limit says."))),
        Some(verdict) => {
            let limit = format!("{said}; limit {}, source: {}. ", limits::limit_words(units, &verdict.limit), verdict.limit.source);
            out.push((Weight::Regular, limit));
            out.extend(limits::standing_spans(units, verdict));
        }
    }
    out
}

/// Everything of the pole: name of the field, and what stands in it.
#[must_use]
pub fn fields(hole: &Hole<'_>) -> Vec<(&'static str, String)> {
    let units = hole.units();
    vec![
        ("Pole, tag", pole(hole)),
        ("Butt", butt(hole, units)),
        ("Depth set by", basis(hole)),
        ("Embedment", embedment(hole, units)),
        ("Room", room(hole, units)),
        ("Arm", hole.structure.map_or("not known: no sheet".to_owned(), crossarm)),
        ("Volumes", volumes(hole, units)),
    ]
}

/// The pole that belongs in the hole: length, class, species, tag, rake.
#[must_use]
pub fn pole(hole: &Hole<'_>) -> String {
    let units = hole.units();
    let Some(plan) = hole.sheet() else { return "not recorded: no sheet".to_owned() };
    let class = plan.pole_class.as_deref().map(|class| {
        let class = class.trim();
        if class.to_lowercase().starts_with("class") { class.to_owned() } else { format!("class {class}") }
    });
    let parts = [
        plan.pole_length_m.map_or("length not on the sheet".to_owned(), |length| format!("{} long", units.long(length))),
        class.unwrap_or_else(|| "class not on the sheet".to_owned()),
        plan.species.clone().unwrap_or_else(|| "species not on the sheet".to_owned()),
        plan.pole_tag.as_ref().map_or("no tag on the sheet".to_owned(), |tag| format!("tag {tag}")),
    ];
    format!("{}{}", parts.join(", "), rake(plan))
}

fn rake(plan: &LegPlan) -> String {
    match (plan.rake, plan.guy_direction_deg) {
        (Some(rate), Some(guy)) => format!("; raked {:.1} % towards the guy at {guy}° from north", rate * 100.0),
        (Some(rate), None) => format!("; raked {:.1} %", rate * 100.0),
        (None, _) => String::new(),
    }
}

fn butt(hole: &Hole<'_>, units: Units) -> String {
    let Some(plan) = hole.sheet() else { return "not recorded: no sheet".to_owned() };
    let taped = match plan.butt {
        Some(Butt::CircumferenceM(round)) => format!("{} round, ", units.long(round)),
        Some(Butt::DiameterM(_)) | None => String::new(),
    };
    let Some(outline) = hole.leg().and_then(|(_, leg)| leg.pole) else {
        return "not known: nobody taped it, and no table in hand has the class".to_owned();
    };
    let source = outline.source.map_or_else(String::new, |source| format!(" ({}, {})", source.text, source.status.text()));
    let across = units.short(2.0 * outline.butt);
    format!("{taped}{across} across; {}{source}; {}", outline.girth.text(), outline.taper.text())
}

/// The butt's diameter, and whether it was taped or is the table's least.
#[must_use]
pub fn butt_briefly(hole: &Hole<'_>) -> String {
    let outline = hole.leg().and_then(|(_, leg)| leg.pole);
    outline.map_or("not known".to_owned(), |outline| {
        let known = outline.girth.text().split(':').next().unwrap_or_default();
        format!("{} across, {}", hole.units().short(2.0 * outline.butt), known.trim_start_matches("butt "))
    })
}

/// What set the planned depth.
fn basis(hole: &Hole<'_>) -> String {
    let Some(plan) = hole.sheet() else { return "plan as loaded into the rig".to_owned() };
    let basis = plan.basis.map_or("not said on the sheet", crate::sheet::Basis::text);
    let another = (plan.depth_m - hole.judged.planned).abs() > 1e-4;
    let another = if another { format!("; the sheet now says {}", hole.units().long(plan.depth_m)) } else { String::new() };
    format!("{basis}, sheet row {}{another}", plan.row)
}

fn room(hole: &Hole<'_>, units: Units) -> String {
    let (_, fit, seat, leg) = match fit(hole) {
        Ok(found) => found,
        Err(why) => return format!("not known: {why}"),
    };
    let best = units.worth(Quantity::Offset, fit.most);
    let staked = units.worth(Quantity::Offset, fit.at_stake);
    let larger = leg
        .pole
        .filter(|pole| pole.larger > 0.0)
        .map_or_else(String::new, |_| format!("; {} if each pole is as large as its class allows", units.short(fit.if_larger)));
    let largest = seat.largest_butt.map_or("none".to_owned(), |butt| format!("{} across", units.short(butt)));
    let governs = if seat.governs { "" } else { ", another leg governs" };
    let joined = if fit.legs.len() > 1 { "; legs jointly at the framed spacing" } else { "" };
    format!(
        "{best} at the best place, {} off the stake; {staked} at the stake; least in the circle at {}{governs}{larger}; largest butt with \
         its room {largest}{joined}",
        units.place(fit.shift),
        units.long(seat.tightest),
    )
}

fn embedment(hole: &Hole<'_>, units: Units) -> String {
    let Some((_, leg)) = hole.counting() else { return "not known: no sheet".to_owned() };
    match (leg.embedment, leg.depth) {
        (Some(by_brand), _) => format!("{} by the set pole's brand", units.worth(Quantity::Depth, by_brand)),
        (None, Some(floor)) => format!("{}; pole not yet set", units.worth(Quantity::Depth, floor)),
        (None, None) => "not known: nor is the depth".to_owned(),
    }
}

/// The arm as it is, else as it is planned, else why nothing is known of it.
#[must_use]
pub fn crossarm(structure: &Structure<'_>) -> String {
    match (&structure.frame.drilled, &structure.frame.planned) {
        _ if structure.legs.len() < 2 => "N/A: one pole".to_owned(),
        (Some(drilled), _) => arm(drilled, &structure.legs),
        (None, Some(planned)) => format!("not all holes are drilled; as planned: {}", arm(planned, &structure.legs)),
        (None, None) => "not known: the sheet lacks elevations, spacing or lengths".to_owned(),
    }
}

/// The hole as the earth lay, and what the pole leaves of it.
fn volumes(hole: &Hole<'_>, units: Units) -> String {
    let Some((n, leg)) = hole.counting() else { return "not known: the bore was not joined".to_owned() };
    let ground = hole.structure.and_then(|structure| structure.frame.earth.get(n).copied().flatten());
    let Some(ground) = ground else { return "not known: bore or depth is not known".to_owned() };
    let pole = leg.pole.zip(leg.depth).map(|(pole, depth)| pole.volume(depth.value)).filter(|pole| *pole < ground.hole.value);
    let pole = pole.map_or_else(
        || "; the pole's is not known".to_owned(),
        |pole| format!(", pole in it {}, round it {} tamped", volume(units, pole), volume(units, ground.hole.value - pole)),
    );
    let earth = ground.earth.map_or_else(
        || "; loose earth N/A, since no kind of ground was named".to_owned(),
        |earth| {
            format!(
                "; spoil {} loose, keep {} of it, {} over",
                volume(units, earth.loose),
                volume(units, earth.keep),
                volume(units, earth.left)
            )
        },
    );
    format!(
        "hole {} ± {}{pole}{earth}. Bank measure, frusta of the joined bore",
        volume(units, ground.hole.value),
        volume(units, ground.hole.expanded)
    )
}

/// Where the hole's middle at the ground is off its stake, as a verdict has it or as it was entered.
#[must_use]
pub fn centre(hole: &Hole<'_>) -> Option<(String, Figure)> {
    let units = hole.units();
    let entry = super::told::counting(hole).rev().find(|entry| matches!(entry.said, Said::Centre { .. }))?;
    let Said::Centre { ahead_um, right_um, standard_um } = entry.said else { return None };
    let metres = |um: i32| f64::from(um) / 1e6;
    let offset = crate::judge::LineAxes { ahead: metres(ahead_um), right: metres(right_um) };
    let figure = Figure::of(offset.magnitude(), crate::judge::freedom::INTERVAL * metres(standard_um));
    Some((format!("{}; {}", units.worth(Quantity::Offset, figure), units.place(offset)), figure))
}

/// Diameters that were measured: "1.215 m ± 10 mm at 1.000 m".
#[must_use]
pub fn diameters(hole: &Hole<'_>) -> Vec<String> {
    let units = hole.units();
    let metres = |um: i32| f64::from(um) / 1e6;
    let one = |said: &Said| match *said {
        Said::Diameter { depth_um, diameter_um, standard_um } => Some(format!(
            "{} ± {} at {}",
            units.long(metres(diameter_um)),
            units.amount(Quantity::Offset, 2.0 * metres(standard_um)),
            units.long(metres(depth_um))
        )),
        _ => None,
    };
    super::told::counting(hole).filter_map(|entry| one(&entry.said)).collect()
}

/// Verdicts on what only a sheet or people know of: the centre and a set pole's embedment.
pub fn verdicts<'a>(hole: &Hole<'a>) -> impl Iterator<Item = &'a crate::judge::Verdict> + use<'a> {
    let leg = hole.counting().map(|(_, leg)| leg);
    let of_leg = leg.into_iter().flat_map(|leg| &leg.verdicts);
    let of_leg = of_leg.filter(|verdict| matches!(verdict.limit.measurand, Measurand::Centre | Measurand::Embedment));
    let frame = hole.counting().and(hole.structure).map(|structure| &structure.frame);
    of_leg.chain(frame.into_iter().flat_map(|frame| &frame.room))
}
