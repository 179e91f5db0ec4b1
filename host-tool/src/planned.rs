//! What structure sheets plan, leg by leg, as it was taken into the store.

pub mod loading;

use crate::entry::{Entry, HoleName, Place, Said, TicketStanding};
use crate::facts::Wall;
use crate::sheet::{LegPlan, Sheet, Ticket};
use crate::store::{Store, StoreFault};
use jiff::civil::Date;
use sha2::{Digest, Sha256};
use shared_protocol::state::Leg;
use std::collections::BTreeMap;

/// Line, structure and leg.
pub type LegName = (String, String, Leg);

/// The newest plan of each leg, with the place of its entry.
pub type Plans = BTreeMap<LegName, (Place, LegPlan)>;

/// The newest plan of each leg among entries that are in the order in which they were entered.
#[must_use]
pub fn plans<'a>(entries: impl IntoIterator<Item = (Place, &'a Entry)>) -> Plans {
    let planned =
        entries.into_iter().filter_map(|(place, entry)| Some((name(entry.plan.as_ref()?), (place, entry.plan.as_deref()?.clone()))));
    planned.collect()
}

fn name(plan: &LegPlan) -> LegName {
    (plan.line.clone(), plan.structure.clone(), plan.leg)
}

/// What became of a sheet's rows.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct TakenIn {
    /// Legs that no sheet planned before.
    pub new: usize,
    /// Legs that were planned otherwise; the older plan stays, and the new one says which it corrects.
    pub changed: Vec<String>,
    /// Legs that were planned the same, whatever row they stood in.
    pub same: usize,
    /// Legs of the sheet's structures that an older sheet planned and this one does not; they stay planned.
    pub left_out: Vec<String>,
}

/// Where a sheet comes from.
#[derive(Clone, Copy, Debug)]
pub struct Origin<'a> {
    /// Name of its file.
    pub file: &'a str,
    /// The file.
    pub bytes: &'a [u8],
    /// Who takes it in.
    pub by: &'a str,
    /// When.
    pub at: Wall,
}

/// Takes a sound sheet into the store, an entry for each leg that is new or planned otherwise than before; all of them or none.
///
/// # Errors
/// See [`StoreFault`].
pub fn take_in(store: &mut Store, sheet: &Sheet, origin: &Origin) -> Result<TakenIn, StoreFault> {
    let entered = store.entries()?;
    let before = plans(entered.iter().map(|entered| (entered.place, &entered.entry)));
    let sha256: String = Sha256::digest(origin.bytes).iter().map(|byte| format!("{byte:02x}")).collect();
    let (mut taken, mut entries) = (TakenIn::default(), Vec::new());
    for leg in &sheet.legs {
        let old = before.get(&name(leg));
        match old {
            None => taken.new += 1,
            Some((_, plan)) if LegPlan { row: leg.row, ..plan.clone() } == *leg => {
                taken.same += 1;
                continue;
            }
            Some(_) => taken.changed.push(leg.name()),
        }
        let hole = HoleName { line: leg.line.clone(), structure: leg.structure.clone(), leg: leg.leg, attempt: 1 };
        let said = Said::Planned { file: origin.file.to_owned(), sha256: sha256.clone() };
        let corrects = old.map(|(place, _)| *place);
        entries.push(Entry { corrects, plan: Some(Box::new(leg.clone())), ..Entry::new(origin.by, origin.at, hole, said) });
    }
    let of_sheet = |(line, structure, _): &LegName| sheet.legs.iter().any(|leg| (&leg.line, &leg.structure) == (line, structure));
    let gone = before.iter().filter(|(known, _)| of_sheet(known) && !sheet.legs.iter().any(|leg| name(leg) == **known));
    taken.left_out = gone.map(|(_, (_, plan))| plan.name()).collect();
    if !entries.is_empty() {
        store.enter_all(&entries)?;
    }
    Ok(taken)
}

/// How a leg's locate ticket stands on a day; `None` for a day that is not known.
#[must_use]
pub fn standing(ticket: Option<&Ticket>, on: Option<Date>) -> TicketStanding {
    let Some(ticket) = ticket else { return TicketStanding::Missing };
    let day = |written: &Option<String>| written.as_ref().and_then(|text| text.parse::<Date>().ok());
    match (day(&ticket.from), day(&ticket.until), on) {
        (Some(from), _, Some(on)) if on < from => TicketStanding::NotYet,
        (_, Some(until), Some(on)) if on > until => TicketStanding::Expired,
        (_, Some(_), Some(_)) => TicketStanding::Valid,
        _ => TicketStanding::Unknown,
    }
}

/// The local day of a time.
#[must_use]
pub fn day(wall: Wall) -> Option<Date> {
    let offset = jiff::tz::Offset::from_seconds(i32::from(wall.offset) * 60).ok()?;
    jiff::Timestamp::from_millisecond(wall.unix_ms).ok().map(|at| offset.to_datetime(at).date())
}

/// A ticket's standing in plain words; `None` where it holds.
#[must_use]
pub const fn warning(standing: TicketStanding) -> Option<&'static str> {
    match standing {
        TicketStanding::Valid => None,
        TicketStanding::Missing => Some("NO LOCATE TICKET: have buried lines located before you dig"),
        TicketStanding::NotYet => Some("THE LOCATE TICKET DOES NOT HOLD YET: wait for its first day before you dig"),
        TicketStanding::Expired => Some("THE LOCATE TICKET HAS EXPIRED: have buried lines located anew before you dig"),
        TicketStanding::Unknown => Some("the locate ticket has no last day on the sheet: look whether it holds before you dig"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::tests::{SHEET, read_text};
    use crate::store::tests::in_folder;

    const MORNING: Wall = Wall { unix_ms: 1_778_592_600_000, offset: -360 };

    fn origin(text: &str) -> Origin<'_> {
        Origin { file: "sheet.csv", bytes: text.as_bytes(), by: "Office", at: MORNING }
    }

    fn known(store: &Store) -> Plans {
        let entered = store.entries().unwrap();
        assert!(entered.iter().all(|entered| entered.chained));
        plans(entered.iter().map(|entered| (entered.place, &entered.entry)))
    }

    #[test]
    fn a_sheet_is_taken_in_once_and_a_changed_row_follows_the_one_before() {
        let (_folder, path) = in_folder();
        let mut store = Store::open(&path).unwrap();
        let sheet = read_text(SHEET).unwrap();
        let first = take_in(&mut store, &sheet, &origin(SHEET)).unwrap();
        assert_eq!(first, TakenIn { new: sheet.legs.len(), ..TakenIn::default() });
        let again = take_in(&mut store, &sheet, &origin(SHEET)).unwrap();
        assert_eq!((again.same, store.entries().unwrap().len()), (sheet.legs.len(), sheet.legs.len()));
        assert_eq!(known(&store).values().map(|(_, plan)| plan.clone()).collect::<Vec<_>>().len(), sheet.legs.len());
        let mut changed = sheet.clone();
        changed.legs[0].depth_m += 0.1;
        changed.legs[1].row += 40; // the same hole in another row
        let left = changed.legs.pop().unwrap();
        changed.legs.push(LegPlan { leg: if left.leg == Leg::Left { Leg::Right } else { Leg::Left }, ..left.clone() });
        let taken = take_in(&mut store, &changed, &origin("changed")).unwrap();
        assert_eq!((taken.new, &taken.changed, &taken.left_out), (1, &vec![changed.legs[0].name()], &vec![left.name()]));
        let now = known(&store);
        let (place, plan) = &now[&name(&changed.legs[0])];
        assert!((plan.depth_m - changed.legs[0].depth_m).abs() < 1e-12, "to the last bit through the chain's JSON");
        let entry = store.entries().unwrap().into_iter().find(|entered| entered.place == *place).unwrap().entry;
        assert_eq!(entry.corrects.map(|place| place.number), Some(0), "what it follows is named");
        let Said::Planned { file, sha256 } = entry.said else { panic!() };
        // `printf changed | sha256sum`
        assert_eq!((file.as_str(), sha256.as_str()), ("sheet.csv", "d67e2e944994496c8d8ec76eed0cf9f09679448d584b532bebf941852a37f5ed"));
    }

    #[test]
    fn a_ticket_holds_from_its_first_day_to_its_last() {
        let ticket = |from: Option<&str>, until: Option<&str>| Ticket {
            number: "T".to_owned(),
            from: from.map(str::to_owned),
            until: until.map(str::to_owned),
        };
        let on = |day: &str| Some(day.parse().unwrap());
        let whole = ticket(Some("2026-05-10"), Some("2026-05-12"));
        let days = ["2026-05-09", "2026-05-10", "2026-05-12", "2026-05-13"].map(|day| standing(Some(&whole), on(day)));
        assert_eq!(days, [TicketStanding::NotYet, TicketStanding::Valid, TicketStanding::Valid, TicketStanding::Expired]);
        assert_eq!(standing(None, on("2026-05-12")), TicketStanding::Missing);
        assert_eq!(standing(Some(&ticket(None, None)), on("2026-05-12")), TicketStanding::Unknown);
        assert_eq!(standing(Some(&whole), None), TicketStanding::Unknown);
        assert_eq!(day(MORNING), on("2026-05-12"));
        assert_eq!(day(Wall { unix_ms: MORNING.unix_ms - 8 * 3_600_000, ..MORNING }), on("2026-05-11"), "by the local date");
        assert!([TicketStanding::Missing, TicketStanding::NotYet, TicketStanding::Expired].map(warning).iter().all(Option::is_some));
        assert_eq!(warning(TicketStanding::Valid), None);
    }
}
