//! The answer in words, on the first page: how deep, how plumb, against what, does the pole fit, who accepted it.

use super::hole::Hole;
use super::layout::flow::Flow;
use super::layout::letters::Weight;
use super::worth::Quantity;
use super::{limits, pole, statements, told};
use crate::entry::Said;
use crate::judge::Figure;
use crate::judge::limits::Measurand;

const SIZE: f64 = 10.0;
const NOTE: f64 = 8.5;
const BETWEEN: f64 = 2.5;
/// Letters of a reason that the first page has room for.
const REASON: usize = 150;
/// Where the text stands beside what it is about.
const INDENT: f64 = 76.0;

/// One answer: what it is about, and what is said of it.
#[derive(Clone, Debug)]
pub struct Answer {
    label: &'static str,
    text: Vec<(Weight, String)>,
}

impl Answer {
    fn plain(label: &'static str, text: String) -> Self {
        Self { label, text: vec![(Weight::Regular, text)] }
    }

    fn spans(&self) -> Vec<(Weight, &str)> {
        self.text.iter().map(|(weight, text)| (*weight, text.as_str())).collect()
    }
}

/// All answers, what everybody asks first.
#[must_use]
pub fn answers(hole: &Hole<'_>) -> Vec<Answer> {
    let limited: Vec<Answer> = hole
        .judged
        .verdicts
        .iter()
        .map(|verdict| Answer { label: limits::subject(verdict.limit.measurand), text: limits::statement(hole, verdict) })
        .collect();
    // the first limit on depth and on plumb are the plan's own; others follow the answers
    let leads = |answer: &Answer| [Measurand::Depth, Measurand::OverallLean].map(limits::subject).contains(&answer.label);
    let lead = [Measurand::Depth, Measurand::OverallLean].map(|of| limited.iter().position(|a| a.label == limits::subject(of)));
    let (mut all, mut more) = (Vec::new(), Vec::new());
    for (at, answer) in limited.into_iter().enumerate() {
        if leads(&answer) && lead.contains(&Some(at)) { all.push(answer) } else { more.push(answer) }
    }
    all.push(toe(hole));
    all.push(Answer { label: "Pole", text: pole::answer(hole) });
    all.push(Answer { label: "Accepted", text: accepted(hole) });
    all.extend(more);
    let reservations = statements::reservations(hole);
    all.extend((!reservations.is_empty()).then(|| Answer::plain("Reservations", reservations)));
    all
}

/// Where the toe is, in as many words as the drawing needs.
fn toe(hole: &Hole<'_>) -> Answer {
    let units = hole.units();
    let Some(toe) = hole.judged.toe else { return Answer::plain("Toe", "Not known, since no lean was recorded.".to_owned()) };
    let Some(budgets) = &hole.judged.budgets else {
        return Answer::plain("Toe", format!("{}, worth nothing above the ground.", units.place(toe)));
    };
    let distance = units.worth(Quantity::Offset, Figure::of(toe.magnitude(), budgets.distance.expanded));
    let text = format!(
        " off the vertical through the hole's start: {}, within {} of there in 95 % of cases.",
        units.place(toe),
        units.amount(Quantity::Offset, budgets.place.expanded)
    );
    Answer { label: "Toe", text: vec![(Weight::Strong, distance), (Weight::Regular, text)] }
}

/// Who decided what about this hole, and why; a long reason stands on the second page alone.
fn accepted(hole: &Hole<'_>) -> Vec<(Weight, String)> {
    let decided = told::counting(hole).rev().find_map(|entry| match &entry.said {
        Said::Accepted { disposition } => Some((disposition, entry)),
        _ => None,
    });
    let Some((disposition, entry)) = decided else {
        return vec![(Weight::Regular, "By nobody yet: no decision about this hole is on record.".to_owned())];
    };
    let reason = entry.remark.trim().trim_end_matches('.');
    let reason = if reason.chars().count() > REASON { "why stands on the second page" } else { reason };
    let overtaken = hole.counting().and_then(|(_, leg)| leg.accepted.as_ref()).is_some_and(|accepted| accepted.overtaken);
    let overtaken = if overtaken { " Drilled or measured again since, so look again." } else { "" };
    vec![
        (Weight::Strong, format!("“{}” by {}", disposition.word(), entry.by)),
        (Weight::Regular, format!(", {}: {reason}.{overtaken}", entry.at.rfc3339())),
    ]
}

/// What "measured" and "shown" mean, and what the axis is.
fn meaning(hole: &Hole<'_>) -> String {
    format!("{} {}", limits::meaning(hole.judged.governs), statements::basis())
}

/// Height that the answers take.
pub fn height(flow: &mut Flow, answers: &[Answer]) -> f64 {
    answers.iter().map(|answer| BETWEEN + flow.measure_labelled(answer.label, &answer.spans(), SIZE, INDENT)).sum()
}

/// Puts them down.
pub fn put(flow: &mut Flow, answers: &[Answer]) {
    for answer in answers {
        flow.space(BETWEEN);
        flow.labelled(answer.label, &answer.spans(), SIZE, INDENT);
    }
}

/// Height that the note takes.
pub fn note_height(flow: &mut Flow, hole: &Hole<'_>) -> f64 {
    BETWEEN + flow.measure(&[(Weight::Regular, &meaning(hole))], NOTE)
}

/// What the answers' words mean.
pub fn note(flow: &mut Flow, hole: &Hole<'_>) {
    flow.space(BETWEEN);
    flow.paragraph(&[(Weight::Regular, &meaning(hole))], NOTE);
}
