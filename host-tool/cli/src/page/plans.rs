//! The holes that the sheets in the store plan, to choose one from.

use super::catalogue::{Known, with};
use super::state::{Shared, error};
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use host_tool::measure::length_text;
use host_tool::planned::{day, standing, warning};
use host_tool::register::Registered;
use host_tool::sheet::{LegPlan, leg_text};
use jiff::civil::Date;
use serde::Serialize;
use shared_protocol::state;
use shared_protocol::units::Micrometres;
use std::collections::HashMap;
use std::sync::Arc;

#[derive(Debug, Serialize)]
struct Structure {
    line: String,
    structure: String,
    legs: Vec<Leg>,
}

#[derive(Debug, Serialize)]
struct Leg {
    leg: &'static str,
    words: String,
    state: &'static str,
    depth: String,
    diameter: String,
    ticket: String,
    warn: bool,
}

/// Answers with all of them, in the order of their names.
pub async fn plans(State(shared): State<Arc<Shared>>) -> Response {
    let read = with(&shared, |known, _| {
        let today = day(crate::station::wall());
        Ok(known.planned(today, || all(known, today)))
    });
    match read.await {
        Ok(json) => ([(header::CONTENT_TYPE, "application/json")], json.to_string()).into_response(),
        Err(why) => error(StatusCode::SERVICE_UNAVAILABLE, &why),
    }
}

fn all(known: &Known, today: Option<Date>) -> String {
    // the last attempt at each leg: the register is in the order of names
    let newest: HashMap<_, &Registered> =
        known.registered.iter().map(|of| ((&of.hole.line, &of.hole.structure, of.hole.leg.raw()), of)).collect();
    let mut structures: Vec<Structure> = Vec::new();
    for (_, plan) in known.plans.values() {
        let leg = leg(plan, newest.get(&(&plan.line, &plan.structure, plan.leg.raw())).copied(), today);
        match structures.last_mut().filter(|last| (&last.line, &last.structure) == (&plan.line, &plan.structure)) {
            Some(last) => last.legs.push(leg),
            None => structures.push(Structure { line: plan.line.clone(), structure: plan.structure.clone(), legs: vec![leg] }),
        }
    }
    serde_json::json!({ "structures": structures }).to_string()
}

fn leg(plan: &LegPlan, of: Option<&Registered>, today: Option<Date>) -> Leg {
    let standing = standing(plan.ticket.as_ref(), today);
    let number = plan.ticket.as_ref().map_or("", |ticket| ticket.number.as_str());
    #[allow(clippy::cast_possible_truncation)] // `as` saturates, and a sheet's lengths are checked
    let text = |metres: f64| length_text(Micrometres((metres * 1e6).round() as i32), plan.units);
    Leg {
        leg: leg_text(plan.leg),
        words: if plan.leg == state::Leg::Single { String::new() } else { format!("{} leg", leg_text(plan.leg)) },
        state: of.map_or("not begun", |of| of.state.word()),
        depth: text(plan.depth_m),
        diameter: text(plan.diameter_m),
        ticket: warning(standing).map_or_else(|| format!("locate ticket {number} holds"), str::to_owned),
        warn: warning(standing).is_some(),
    }
}
