//! Limits as an owner writes them, a TOML file: what each one limits, its figure with its unit, and who says so.
//!
//! ```toml
//! governs = "guarded"              # which statement decides by the contract: plain or guarded
//!
//! [[limit]]
//! measurand = "overall-lean"       # or depth, lean-anywhere, toe, centre, room, embedment, arm-tilt
//! figure = "1/4 in per ft"
//! source = "Example county, section 5"
//! ```
//!
//! No limits are built in: a limit that nobody set is none.

use crate::judge::limits::{Governs, Limit, LimitSet, Measurand};
use crate::judge::metres;
use crate::measure::{length_um, ratio};
use crate::text::terminal;
use serde::Deserialize;
use shared_protocol::record::Plan;
use toml::Spanned;

/// Limits that a file may hold.
const LIMITS_MAX: usize = 40;

/// Why a limits file cannot be used: which line, what is wrong with it and what would be right. Shown as one line.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {what}")]
pub struct LimitsFault {
    /// The line, from 1.
    pub line: usize,
    /// What is wrong and how to mend it.
    pub what: String,
}

/// The figure of a limit.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Figure {
    /// At most this, metres or metres per metre.
    Most(f64),
    /// At least this, metres.
    Least(f64),
    /// Around the planned depth: so much less and so much more, metres.
    AroundPlan(f64, f64),
}

/// A limit before it is known of which hole.
#[derive(Clone, Debug, PartialEq)]
struct General {
    measurand: Measurand,
    figure: Figure,
    written: String,
    source: String,
}

/// The limits of a file.
#[derive(Clone, Debug, PartialEq)]
pub struct Limits {
    limits: Vec<General>,
    governs: Option<Governs>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    governs: Option<Spanned<String>>,
    #[serde(default)]
    limit: Vec<Spanned<WrittenLimit>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WrittenLimit {
    measurand: Spanned<String>,
    figure: Spanned<String>,
    source: Spanned<String>,
}

impl Limits {
    /// Reads a file's text.
    ///
    /// # Errors
    /// See [`LimitsFault`]; the first of them.
    pub fn read(text: &str) -> Result<Self, LimitsFault> {
        let line_of = |at: usize| text.get(..at).map_or(1, |before| before.matches('\n').count() + 1);
        let fault = |at: usize, what: String| LimitsFault { line: line_of(at), what };
        let written: Written = toml::from_str(text).map_err(|e| {
            fault(e.span().map_or(0, |s| s.start), format!("{}: see the example in the guide", e.message().replace('\n', "; ")))
        })?;
        let governs = written.governs.as_ref().map(|word| governs(word.get_ref()).map_err(|what| fault(word.span().start, what)));
        if written.limit.is_empty() {
            return Err(fault(0, "there is no limit: write [[limit]] with measurand, figure and source".to_owned()));
        }
        if let Some(beyond) = written.limit.get(LIMITS_MAX) {
            return Err(fault(beyond.span().start, format!("more than {LIMITS_MAX} limits: make two files of it")));
        }
        let limits = written.limit.iter().map(|limit| general(limit.get_ref()).map_err(|(at, what)| fault(at, what)));
        Ok(Self { governs: governs.transpose()?, limits: limits.collect::<Result<_, _>>()? })
    }

    /// Which statement decides; `None` where nobody has said.
    #[must_use]
    pub const fn governs(&self) -> Option<Governs> {
        self.governs
    }

    /// The limits as they are for one hole.
    #[must_use]
    pub fn of(&self, plan: &Plan) -> LimitSet {
        self.about(metres(plan.depth))
    }

    /// The limits as they are for a hole that is planned so deep below its datum, metres.
    #[must_use]
    pub fn about(&self, depth: f64) -> LimitSet {
        let limit = |general: &General| {
            let (least, most) = match general.figure {
                Figure::Most(most) => (None, most),
                Figure::Least(least) => (Some(least), f64::INFINITY),
                Figure::AroundPlan(under, over) => (Some(depth - under), depth + over),
            };
            let General { measurand, written, source, .. } = general.clone();
            Limit { measurand, least, most, written, source }
        };
        LimitSet { limits: self.limits.iter().map(limit).collect(), governs: self.governs }
    }
}

fn governs(word: &str) -> Result<Governs, String> {
    match word {
        "plain" => Ok(Governs::Plain),
        "guarded" => Ok(Governs::Guarded),
        other => Err(format!("governs is \"{}\": write plain or guarded, as the contract says, or leave it out", terminal(other))),
    }
}

/// A limit, or where it is wrong and how to mend it.
fn general(written: &WrittenLimit) -> Result<General, (usize, String)> {
    let measurand = match written.measurand.get_ref().as_str() {
        "depth" => Measurand::Depth,
        "overall-lean" => Measurand::OverallLean,
        "lean-anywhere" => Measurand::LeanAnywhere,
        "toe" => Measurand::Toe,
        "centre" => Measurand::Centre,
        "room" => Measurand::Room,
        "embedment" => Measurand::Embedment,
        "arm-tilt" => Measurand::ArmTilt,
        other => {
            let what = format!(
                "measurand is \"{}\": write depth, overall-lean, lean-anywhere, toe, centre, room, embedment or arm-tilt",
                terminal(other)
            );
            return Err((written.measurand.span().start, what));
        }
    };
    let source = written.source.get_ref().trim();
    if source.is_empty() {
        return Err((written.source.span().start, "source is empty: write who sets this limit and where".to_owned()));
    }
    let text = written.figure.get_ref();
    let figure = figure(measurand, text).map_err(|what| (written.figure.span().start, what))?;
    Ok(General { measurand, figure, written: text.trim().to_owned(), source: source.to_owned() })
}

fn figure(measurand: Measurand, text: &str) -> Result<Figure, String> {
    match measurand {
        Measurand::Depth | Measurand::Embedment => around_plan(text).ok_or_else(|| {
            format!("figure \"{}\" is no range about the planned depth: write for example -2 in +6 in, or ±150 mm", terminal(text))
        }),
        Measurand::OverallLean | Measurand::LeanAnywhere | Measurand::ArmTilt => {
            positive(ratio(text).map_err(|e| format!("figure {e}"))?, text).map(Figure::Most)
        }
        Measurand::Toe | Measurand::Centre => positive(length_um(text).map_err(|e| format!("figure {e}"))? / 1e6, text).map(Figure::Most),
        Measurand::Room => positive(length_um(text).map_err(|e| format!("figure {e}"))? / 1e6, text).map(Figure::Least),
    }
}

fn positive(figure: f64, text: &str) -> Result<f64, String> {
    if figure > 0.0 { Ok(figure) } else { Err(format!("figure \"{}\" must be more than 0", terminal(text))) }
}

/// "±6 in", "+/- 6 in", or what may be less and what may be more in either order: "-2 in +6 in".
fn around_plan(text: &str) -> Option<Figure> {
    let text = text.trim().replace('\u{2212}', "-");
    let plain = |length: &str| length_um(length).ok().filter(|um| *um >= 0.0 && !length.trim().starts_with(['+', '-'])).map(|um| um / 1e6);
    if let Some(both) = text.strip_prefix('±').or_else(|| text.strip_prefix("+/-")) {
        let both = plain(both)?;
        return Some(Figure::AroundPlan(both, both));
    }
    let second = text.char_indices().skip(1).find(|(at, c)| matches!(c, '+' | '-') && text[..*at].ends_with([' ', ',']))?.0;
    let (first, second) = (text[..second].trim_end_matches([' ', ',']), &text[second..]);
    let (less, more) = if first.starts_with('-') { (first, second) } else { (second, first) };
    let (under, over) = (plain(less.strip_prefix('-')?)?, plain(more.strip_prefix('+')?)?);
    Some(Figure::AroundPlan(under, over))
}

#[cfg(test)]
mod tests {
    use super::*;
    use shared_protocol::units::Micrometres;

    const WHOLE: &str = r#"governs = "guarded"

[[limit]]
measurand = "overall-lean"
figure = "1/4 in per ft"
source = "Invented county, section 5"

[[limit]]
measurand = "depth"
figure = "-2 in +6 in"
source = "Invented sheet"

[[limit]]
measurand = "toe"
figure = "75 mm"
source = "Invented sheet"
"#;

    fn plan() -> Plan {
        Plan { depth: Micrometres::from_mm(3_000), ..Plan::default() }
    }

    #[test]
    fn limits_are_read_and_stand_about_a_holes_plan() {
        let set = Limits::read(WHOLE).unwrap().of(&plan());
        assert_eq!(set.governs, Some(Governs::Guarded));
        let [lean, depth, toe] = &set.limits[..] else { panic!("{set:?}") };
        assert_eq!((lean.measurand, lean.least, lean.written.as_str()), (Measurand::OverallLean, None, "1/4 in per ft"));
        // 1 in is 25.4 mm exactly
        assert!((depth.least.unwrap() - 2.9492).abs() < 1e-12 && (depth.most - 3.1524).abs() < 1e-12, "{depth:?}");
        assert_eq!((toe.measurand, toe.most, toe.source.as_str()), (Measurand::Toe, 0.075, "Invented sheet"));
        assert_eq!(Limits::read(&WHOLE.replace("governs = \"guarded\"", "")).unwrap().of(&plan()).governs, None);
    }

    /// Conversions of the check values, through a file: 1/4 in per ft is 2.0833 % and not 2 %, 1:75 is 1.3333 %, 3 in are
    /// 76.2 mm.
    #[test]
    fn figures_mean_what_they_are_published_to_mean() {
        let most = |measurand: &str, figure: &str| {
            let text = format!("[[limit]]\nmeasurand = \"{measurand}\"\nfigure = \"{figure}\"\nsource = \"x\"");
            Limits::read(&text).unwrap().of(&plan()).limits[0].most
        };
        let leans = [("1/4 in per ft", 0.020_833_3), ("2 %", 0.02), ("20 mm/m", 0.02), ("1.5 %", 0.015), ("1:75", 0.013_333_3)];
        for (figure, want) in leans {
            assert!((most("overall-lean", figure) - want).abs() < 5e-8, "{figure}");
            assert!((most("lean-anywhere", figure) - want).abs() < 5e-8, "{figure}");
        }
        assert!((most("toe", "3 in") - 0.0762).abs() < 1e-12);
    }

    #[test]
    fn a_range_about_the_plan_is_read_as_people_write_it() {
        let rows = [
            ("-2 in +6 in", Some((0.0508, 0.1524))),
            ("+6 in, -2 in", Some((0.0508, 0.1524))),
            ("±6 in", Some((0.1524, 0.1524))),
            ("+/- 150 mm", Some((0.15, 0.15))),
            ("-0 mm +0.5 ft", Some((0.0, 0.1524))),
            ("-1'-6\" +6 in", Some((0.4572, 0.1524))),
            ("\u{2212}50 mm +150 mm", Some((0.05, 0.15))),
            ("6 in", None),
            ("-2 in -6 in", None),
            ("+2 in +6 in", None),
            ("-2 in", None),
            ("± -6 in", None),
            ("-2 in +6", None),
            ("", None),
            ("-", None),
        ];
        for (text, want) in rows {
            let near = |(under, over): (f64, f64)| matches!(around_plan(text), Some(Figure::AroundPlan(u, o)) if (u - under).abs() < 1e-12 && (o - over).abs() < 1e-12);
            assert!(want.map_or_else(|| around_plan(text).is_none(), near), "{text}: {:?}", around_plan(text));
        }
    }

    #[test]
    fn what_is_wrong_is_said_with_its_line_and_how_to_mend_it() {
        let rows = [
            ("\"1/4 in per ft\"", "\"1 in 48\"", "line 5: figure \"1 in 48\" is no lean: write for example 20 mm/m"),
            ("\"1/4 in per ft\"", "\"0 %\"", "line 5: figure \"0 %\" must be more than 0"),
            ("\"-2 in +6 in\"", "\"6 in\"", "line 10: figure \"6 in\" is no range about the planned depth: write for example -2 in +6 in"),
            ("\"75 mm\"", "\"75\"", "line 15: figure \"75\" is no length: write for example"),
            ("\"75 mm\"", "75", "line 15: "),
            (
                "\"toe\"",
                "\"tilt\"",
                "line 14: measurand is \"tilt\": write depth, overall-lean, lean-anywhere, toe, centre, room, embedment or arm-tilt",
            ),
            ("\"guarded\"", "\"both\"", "line 1: governs is \"both\": write plain or guarded"),
            ("source = \"Invented county, section 5\"", "source = \" \"", "line 6: source is empty: "),
            ("source = \"Invented county, section 5\"", "", "line 3: missing field `source`"),
            ("figure = \"75 mm\"", "most = \"75 mm\"", "line 15: unknown field `most`"),
            (WHOLE, "governs = \"plain\"", "line 1: there is no limit: write [[limit]]"),
            ("governs = ", "governs", "line 1: "),
        ];
        for (from, to, want) in rows {
            let said = Limits::read(&WHOLE.replace(from, to)).unwrap_err().to_string();
            assert!(said.starts_with(want) && !said.contains('\n'), "{to}: {said}");
        }
        let many = "[[limit]]\nmeasurand = \"toe\"\nfigure = \"1 m\"\nsource = \"x\"\n".repeat(41);
        assert!(Limits::read(&many).unwrap_err().to_string().starts_with("line 161: more than 40 limits"));
    }
}
