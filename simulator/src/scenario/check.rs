//! What a scenario's figures may be.

use super::{Event, Happening, HolePlan, Scenario};
use crate::errors::Figure;
use firmware_app::profile::TOOLS;

/// Everything that is wrong with a scenario, each in words.
pub fn faults(scenario: &Scenario) -> Vec<String> {
    let mut faults = Vec::new();
    let tools: Vec<u8> = scenario.tools().iter().map(|t| t.number).collect();
    own_tools(scenario, &mut faults);
    sheet(scenario, &tools, &mut faults);
    layers(scenario, &mut faults);
    figures("errors", &scenario.errors.figures(), &mut faults);
    if scenario.hole.is_empty() || scenario.hole.len() > 8 {
        faults.push(format!("{} holes; expected 1 to 8 [[hole]] tables", scenario.hole.len()));
    }
    for (index, plan) in scenario.hole.iter().enumerate() {
        hole(&format!("hole {}", index + 1), plan, &tools, &mut faults);
    }
    faults
}

fn figures(place: &str, figures: &[Figure<'_>], faults: &mut Vec<String>) {
    for (name, value, low, high) in figures {
        if !(low..=high).contains(&value) {
            faults.push(format!("{place}: {name} is {value}; expected {low} to {high}"));
        }
    }
}

fn text(place: &str, name: &str, value: &str, most: usize, faults: &mut Vec<String>) {
    if value.is_empty() || value.len() > most || value.chars().any(char::is_control) {
        faults.push(format!("{place}: {name} is {value:?}; expected 1 to {most} bytes of text on one line"));
    }
}

fn tool(place: &str, number: u8, tools: &[u8], faults: &mut Vec<String>) {
    if !tools.contains(&number) {
        faults.push(format!("{place}: there is no tool {number}; expected one of {tools:?}"));
    }
}

fn own_tools(scenario: &Scenario, faults: &mut Vec<String>) {
    if scenario.tools().len() > TOOLS {
        faults.push(format!("{} tools; expected {TOOLS} at most with those of the bench", scenario.tools().len()));
    }
    for (index, tool) in scenario.tool.iter().enumerate() {
        let place = format!("tool {}", tool.number);
        if tool.number == 0 || scenario.tool[..index].iter().any(|other| other.number == tool.number) {
            faults.push(format!("{place}: a number of its own from 1 on is expected"));
        }
        let rows = [("length_mm", tool.length_mm, 100.0, 5_000.0), ("diameter_mm", tool.diameter_mm, 100.0, 4_000.0)];
        figures(&place, &rows, faults);
    }
}

fn sheet(scenario: &Scenario, tools: &[u8], faults: &mut Vec<String>) {
    let Scenario { sheet, mast, sensors, cable, work, .. } = scenario;
    text("sheet", "line", &sheet.line, 24, faults);
    text("sheet", "structure", &sheet.structure, 16, faults);
    text("sheet", "operator", &sheet.operator, 24, faults);
    tool("sheet", sheet.tool, tools, faults);
    let rows = [
        ("diameter_mm", sheet.diameter_mm, 100.0, 4_000.0),
        ("depth_under_mm", sheet.depth_under_mm, 0.0, 2_000.0),
        ("depth_over_mm", sheet.depth_over_mm, 0.0, 2_000.0),
        ("plumb_limit_mm_m", sheet.plumb_limit_mm_m, 1.0, 200.0),
        ("heading_deg", sheet.heading_deg, -360.0, 360.0),
        ("heading_within_deg", sheet.heading_within_deg, 0.0, 180.0),
    ];
    figures("sheet", &rows, faults);
    figures("mast", &[("sd_mm_m", mast.sd_mm_m, 0.0, 50.0), ("over_s", mast.over_s, 0.1, 3_600.0)], faults);
    let rows = [
        ("tilt_noise_mg", sensors.tilt_noise_mg, 0.0, 200.0),
        ("encoder_noise_counts", sensors.encoder_noise_counts, 0.0, 1_000.0),
        ("count_at_hub", f64::from(sensors.count_at_hub), -1e9, 1e9),
        ("reply_delay_ms", sensors.reply_delay_ms, 0.0, 1_000.0),
    ];
    figures("sensors", &rows, faults);
    let rows = [
        ("baud", f64::from(cable.baud), 1_200.0, 4e6),
        ("damaged", cable.damaged, 0.0, 1.0),
        ("lost", cable.lost, 0.0, 1.0),
        ("doubled", cable.doubled, 0.0, 1.0),
        ("bursts", cable.bursts, 0.0, 1.0),
    ];
    figures("cable", &rows, faults);
    let rows = [
        ("bite_mm", work.bite_mm, 20.0, 5_000.0),
        ("hoist_mm_s", work.hoist_mm_s, 10.0, 2_000.0),
        ("dwell_s", work.dwell_s, 0.0, 600.0),
        ("hold_s", work.hold_s, 1.0, 600.0),
        ("patience_s", work.patience_s, 1.0, 36_000.0),
    ];
    figures("work", &rows, faults);
}

fn layers(scenario: &Scenario, faults: &mut Vec<String>) {
    if scenario.layer.first().is_none_or(|layer| layer.from_mm != 0.0) {
        faults.push("the first [[layer]] must begin at the surface; expected from_mm = 0".into());
    }
    if scenario.layer.windows(2).any(|pair| pair[0].from_mm >= pair[1].from_mm) {
        faults.push("the [[layer]] tables must go down; expected from_mm to rise from each to the next".into());
    }
    for layer in &scenario.layer {
        let place = format!("layer {:?}", layer.name);
        let rows = [
            ("from_mm", layer.from_mm, 0.0, 20_000.0),
            ("feed_mm_s", layer.feed_mm_s, 0.5, 200.0),
            ("vibration_mg", layer.vibration_mg, 0.0, 1_000.0),
            ("fall_in_mm", layer.fall_in_mm, 0.0, 1_000.0),
        ];
        figures(&place, &rows, faults);
    }
}

fn hole(place: &str, hole: &HolePlan, tools: &[u8], faults: &mut Vec<String>) {
    let rows = [
        ("attempt", f64::from(hole.attempt), 1.0, 99.0),
        ("depth_mm", hole.depth_mm, 200.0, 15_000.0),
        ("hub_above_datum_mm", hole.hub_above_datum_mm, -2_000.0, 2_000.0),
        ("ground_below_hub_mm", hole.ground_below_hub_mm, -50.0, 2_000.0),
        ("drill_past_mm", hole.drill_past_mm, -5_000.0, 2_000.0),
        ("the depth to drill below ground", hole.target_mm() - hole.ground_below_hub_mm, 100.0, 18_000.0),
    ];
    figures(place, &rows, faults);
    if hole.lean.is_empty() {
        faults.push(format!("{place}: no lean; expected at least one [[hole.lean]] table"));
    }
    if hole.lean.windows(2).any(|pair| pair[0].at_mm >= pair[1].at_mm) {
        faults.push(format!("{place}: the [[hole.lean]] tables must go down; expected at_mm to rise from each to the next"));
    }
    for lean in &hole.lean {
        let rows = [
            ("lean at_mm", lean.at_mm, -1_000.0, 20_000.0),
            ("lean forward", lean.forward, -500.0, 500.0),
            ("lean right", lean.right, -500.0, 500.0),
        ];
        figures(place, &rows, faults);
    }
    hole.event.iter().for_each(|e| event(place, e, tools, faults));
}

fn event(place: &str, event: &Event, tools: &[u8], faults: &mut Vec<String>) {
    match (event.at_mm, event.at_s) {
        (Some(mm), None) => figures(place, &[("event at_mm", mm, -1_000.0, 20_000.0)], faults),
        (None, Some(s)) => figures(place, &[("event at_s", s, 0.0, 360_000.0)], faults),
        _ => faults.push(format!("{place}: an event has neither or both of at_mm and at_s; expected one")),
    }
    match &event.what {
        Happening::Fault { for_s, .. } => figures(place, &[("fault for_s", *for_s, 0.1, 36_000.0)], faults),
        Happening::Unplug { for_s } => figures(place, &[("unplug for_s", *for_s, 0.1, 36_000.0)], faults),
        Happening::PowerCut { off_s } => figures(place, &[("power-cut off_s", *off_s, 0.1, 36_000.0)], faults),
        Happening::ChangeTool { tool: number } => tool(place, *number, tools, faults),
        Happening::Note { author, text: said } => {
            text(place, "note author", author, 24, faults);
            text(place, "note text", said, 120, faults);
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::scenario::{FAULT_PARADE, ORDINARY, STILL_HOLE, Scenario, TWO_POLE};

    fn said(from: &str, to: &str) -> String {
        assert!(TWO_POLE.contains(from), "{from}");
        Scenario::parse("two-pole.toml", &TWO_POLE.replacen(from, to, 1)).unwrap_err().to_string()
    }

    #[test]
    fn our_own_scenarios_are_in_order_and_give_plans() {
        for (name, text) in [("two-pole", TWO_POLE), ("still-hole", STILL_HOLE), ("fault-parade", FAULT_PARADE), ("ordinary", ORDINARY)] {
            let scenario = Scenario::parse(name, text).unwrap();
            assert!((0..scenario.hole.len()).all(|hole| scenario.plan(hole).is_some()), "{name}");
            assert_eq!(scenario.plan(scenario.hole.len()), None);
            assert!(text.contains("SIMULATED"), "{name}");
        }
    }

    #[test]
    fn a_fault_is_told_with_file_place_and_what_was_expected() {
        assert_eq!(
            said("depth_mm = 3120", "depth_mm = 99999"),
            "two-pole.toml: hole 1: depth_mm is 99999; expected 200 to 15000; mend the file"
        );
        assert_eq!(said("tool = 1", "tool = 9"), "two-pole.toml: sheet: there is no tool 9; expected one of [1, 2, 3]; mend the file");
        assert!(said("depth_mm = 3120", "depth_mm = nan").contains("depth_mm is NaN; expected 200 to 15000"));
        assert!(said("from_mm = 0", "from_mm = 10").contains("must begin at the surface"));
        let slip = said("slip_mm_per_trip = 0.2", "slip_mm_per_trip = 200.0");
        assert_eq!(slip, "two-pole.toml: errors: depth.slip_mm_per_trip is 200; expected -100 to 100; mend the file");
        assert!(said("slip_mm_per_trip", "slop_mm_per_trip").contains("unknown field `slop_mm_per_trip`"));
        let typo = said("heading_deg", "haeding_deg");
        assert!(typo.starts_with("two-pole.toml: line ") && typo.contains("unknown field `haeding_deg`") && !typo.contains('\n'), "{typo}");
        assert!(said("depth_mm = 3120", "depth_mm = = 3").contains("line "));
    }

    /// 24 in are 609.6 mm exactly.
    #[test]
    fn own_tools_stand_among_those_of_the_bench() {
        let with = |tools: &str| Scenario::parse("own", &(TWO_POLE.to_owned() + tools)).map_err(|fault| fault.to_string());
        let tool = |number: u8, diameter: f64| format!("\n[[tool]]\nnumber = {number}\nlength_mm = 900\ndiameter_mm = {diameter}\n");
        let tools = with(&(tool(2, 609.6) + &tool(7, 457.2))).unwrap().tools();
        let shown: Vec<(u8, i32)> = tools.iter().map(|t| (t.number, t.diameter.0)).collect();
        assert_eq!(shown, [(1, 1_100_000), (3, 1_300_000), (2, 609_600), (7, 457_200)]);
        assert!(with(&tool(7, 9e9)).unwrap_err().contains("tool 7: diameter_mm is 9000000000; expected 100 to 4000"));
        assert!(with(&(tool(7, 500.0) + &tool(7, 600.0))).unwrap_err().contains("tool 7: a number of its own"));
        let many: String = (4..10).map(|number| tool(number, 500.0)).collect();
        assert!(with(&many).unwrap_err().contains("9 tools; expected 8 at most"));
    }

    #[test]
    fn a_file_that_is_not_there_is_said_in_one_line() {
        let said = Scenario::load(std::path::Path::new("no/such.toml")).unwrap_err().to_string();
        assert!(said.starts_with("no/such.toml: cannot be read") && !said.contains('\n'), "{said}");
    }
}
