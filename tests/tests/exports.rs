//! Data out, read by programs that nobody here wrote: the schema by jsonschema, the map by geojson, the table by Python's csv.

#[path = "lists/office.rs"]
#[allow(dead_code)]
mod office;

use tests::samples as holes;

use holes::{Sample, good};
use host_tool::entry::{Along, Disposition, Finding, NoteKind, Said, TicketStanding};
use host_tool::export::{Exported, Format};
use host_tool::holes::catalogue_by;
use host_tool::limits_file::Limits;
use office::{LINE, Line, hole};
use serde_json::{Value, json};
use shared_protocol::state::Leg;
use tests::python::reference;

/// A line with an entry of every kind and everything that can go wrong.
fn everything() -> Line {
    let mut line = Line::worst();
    let single = hole("41", Leg::Single, 1);
    let all = [
        Said::Diameter { depth_um: 1_000_000, diameter_um: 1_105_000, standard_um: 5_000 },
        Said::Spacing { to: Leg::Left, distance_um: 3_810_000, standard_um: 4_000, along: Along::Slope { rise_ppm: 20_000 } },
        Said::Spacing { to: Leg::Left, distance_um: 3_810_000, standard_um: 4_000, along: Along::Level },
        Said::Water { depth_um: None },
        Said::Brand { height_um: 1_000_000, to_butt_um: 4_267_200, standard_um: 6_000 },
        Said::Note { what: NoteKind::Casing { left: true } },
        Said::Note { what: NoteKind::Rock { shot: true, by: "A. Nobody".to_owned() } },
        Said::Note { what: NoteKind::FallIn },
        Said::Note { what: NoteKind::WaterAdded },
        Said::Note { what: NoteKind::Other },
        Said::Ticket { number: "T-1".to_owned(), standing: TicketStanding::Valid },
        Said::Accepted { disposition: Disposition::HandPlumb },
        Said::Reviewed { finding: Finding::Returned, short: "BW1".to_owned(), key: "00".to_owned(), signature: "00".to_owned() },
    ];
    for (minute, said) in (50..).zip(all) {
        line.say(minute, &single, "=HYPERLINK(\"x\")", said);
    }
    line
}

fn exported(line: &Line, format: Format, limits: Option<&str>) -> Vec<u8> {
    let limits = limits.map(|text| Limits::read(text).unwrap());
    let held = catalogue_by(&line.store, limits.as_ref()).unwrap();
    let out = line.folder.path().join("out");
    let files = Exported::new(&held).write(format, &out).expect("an export");
    assert_eq!(files, std::slice::from_ref(&out));
    std::fs::read(out).unwrap()
}

fn read(line: &Line, format: Format) -> Value {
    serde_json::from_slice(&exported(line, format, None)).expect("JSON")
}

fn published() -> Value {
    let path = tests::root().join("host-tool/docs/export.schema.json");
    serde_json::from_slice(&std::fs::read(path).unwrap()).expect("JSON")
}

/// JSON Schema 2020-12 by the package jsonschema, in which nothing of ours is.
#[test]
fn what_is_exported_keeps_the_published_schema_and_every_name_is_in_it() {
    let sets = "governs = \"guarded\"\n[[limit]]\nmeasurand = \"arm-tilt\"\nfigure = \"1:75\"\nsource = \"Invented\"";
    let limited: Value = serde_json::from_slice(&exported(&everything(), Format::Json, Some(sets))).unwrap();
    let untold = {
        let mut line = Line::planned();
        line.drill(&Sample { clock: false, closed: false, increments: false, passes: 1, ..good() }, "SIM-ONE", &hole("41", Leg::Single, 1));
        line.drill(&Sample { identity: None, ..good() }, "SIM-TWO", &hole("42", Leg::Left, 1));
        read(&line, Format::Json)
    };
    let empty = read(&Line::planned(), Format::Json);
    let whole = read(&everything(), Format::Json);
    let kinds = whole["set_ups"].as_array().unwrap().iter().flat_map(|set_up| set_up["entries"].as_array().unwrap());
    let mut kinds: Vec<&str> = kinds.map(|entry| entry["said"]["kind"].as_str().unwrap()).collect();
    kinds.sort_unstable();
    kinds.dedup();
    assert_eq!(kinds.len(), 12, "every kind of entry but a plan, which stands with its leg: {kinds:?}");
    let schema = published();
    let problems: Vec<Value> = [&whole, &limited, &untold, &empty].map(|object| json!([schema, object, true])).into();
    let wrong = reference("schema", &json!(problems));
    assert_eq!(wrong, json!([[], [], [], []]));
}

/// A schema that takes anything proves nothing.
#[test]
fn the_schema_does_not_take_what_is_wrong() {
    let (schema, right) = (published(), read(&Line::drilled(), Format::Json));
    let measured = right["set_ups"].as_array().unwrap().iter().position(|set_up| set_up["handle"] == "41").unwrap();
    let wrong = |change: &dyn Fn(&mut Value)| {
        let mut object = right.clone();
        change(&mut object);
        json!([schema, object, false])
    };
    let problems = [
        wrong(&|o| o["borewitness_export"] = json!(0)),
        wrong(&|o| o["up_to"] = json!("2027-01-15 01:00")),
        wrong(&|o| o["set_ups"][0]["opened"] = json!("2027-01-15T01:00:00")),
        wrong(&|o| o["set_ups"][0]["depth_m"] = json!("3.187 m")),
        wrong(&|o| o["set_ups"][0]["depth_u95_m"] = json!(-0.1)),
        wrong(&|o| o["set_ups"][0]["digest_sha256"] = json!("none")),
        wrong(&|o| o["structures"][0]["ready"] = json!("perhaps")),
        wrong(&|o| drop(o["structures"][0]["legs"][0].as_object_mut().unwrap().remove("stage"))),
        wrong(&|o| o["structures"][0]["legs"][0]["plan"]["latitude_deg"] = json!(91)),
        wrong(&|o| o["set_ups"][measured]["entries"][0]["said"] = json!({ "kind": "rumour" })),
    ];
    let said = reference("schema", &json!(problems));
    assert!(said.as_array().unwrap().iter().all(|errors| !errors.as_array().unwrap().is_empty()), "{said}");
    assert_eq!(reference("schema", &json!([[schema, right, false]])), json!([[]]));
}

/// RFC 7946, 3.1.1: longitude comes first; 3.2: a feature without a place has a null geometry.
#[test]
fn legs_stand_on_a_map_where_the_sheet_has_places() {
    let map = read(&Line::drilled(), Format::Geojson);
    let said = reference("on_map", &json!([map]));
    assert_eq!(said[0][0], json!([]), "{said}");
    assert_eq!(
        said[0][1],
        json!([[-123.393_333, -48.876_543], [-123.394, -48.8765], [-123.3939, -48.8765], null, null]),
        "in the order of the sheet"
    );
    let features = map["features"].as_array().unwrap();
    assert_eq!((&features[1]["id"], &features[1]["properties"]["hole"]["leg"]), (&json!("SIM tie/42/left"), &json!("left")));
    assert_eq!((&map["borewitness_export"], &map["simulated"]), (&json!(1), &json!(true)));
    let whole = read(&Line::drilled(), Format::Json);
    let legs: Vec<&Value> =
        whole["structures"].as_array().unwrap().iter().flat_map(|structure| structure["legs"].as_array().unwrap()).collect();
    assert_eq!(legs.len(), features.len());
    for (feature, leg) in features.iter().zip(legs) {
        for (name, value) in leg.as_object().unwrap() {
            assert_eq!(&feature["properties"][name], value, "properties are those of the JSON");
        }
    }
    let turned = json!([{ "type": "FeatureCollection", "features": [{ "type": "Feature", "properties": null,
        "geometry": { "type": "Point", "coordinates": [1] } }] }]);
    assert_ne!(reference("on_map", &turned)[0][0], json!([]), "the reader does complain of a place with one number");
}

/// RFC 4180 as Python's csv reads it, strictly.
#[test]
fn the_table_has_a_row_to_each_set_up_and_no_formula() {
    let mut line = Line::drilled();
    let hostile = hole("=2+3", Leg::Single, 1);
    let mut sample = good();
    sample.plan.operator = "@SUM(1,\"2\")".try_into().unwrap();
    line.drill(&sample, "-1+1", &hostile);
    let bytes = exported(&line, Format::Csv, None);
    let said = reference("table", &json!([String::from_utf8(bytes).unwrap()]));
    let (rows, ends) = (said[0][0].as_array().unwrap(), &said[0][1]);
    assert_eq!((rows.len(), ends), (5, &json!(true)));
    let whole = read(&line, Format::Json);
    for (row, object) in rows.iter().zip(whole["set_ups"].as_array().unwrap()) {
        assert!(row.get("").is_none() && row.as_object().unwrap().len() > 50);
        for (name, cell) in row.as_object().unwrap() {
            let cell = cell.as_str().expect("no row is longer than its head");
            let value = &object[name];
            let want = match value {
                Value::Null => String::new(),
                Value::String(text) => text.clone(),
                other => other.to_string(),
            };
            let same = cell == want
                || cell.strip_prefix('\'') == Some(&want)
                || cell.parse::<f64>().ok().is_some_and(|c| Some(c) == value.as_f64());
            assert!(same, "{name}: {cell:?} is not {want:?}");
            let plain_figure = value.is_number();
            assert!(plain_figure || !cell.starts_with(['=', '+', '-', '@']), "{name}: {cell:?}");
        }
    }
    let found = |name: &str, text: &str| rows.iter().any(|row| row[name] == text);
    assert!(found("structure", "'=2+3") && found("operator", "'@SUM(1,\"2\")") && found("rig", "'-1+1"), "{rows:?}");
    assert!(rows.iter().any(|row| row["latitude_deg"].as_str().unwrap().starts_with('-')), "a negative figure stays one");
}

/// By hand, as on the certificate: 3.184 m; the mean of the soundings is 3.160 m ± 0.020 m; told 08:00Z at seven hours behind.
#[test]
fn figures_and_times_are_those_of_the_record() {
    let whole = read(&Line::drilled(), Format::Json);
    let one = whole["set_ups"].as_array().unwrap().iter().find(|set_up| set_up["handle"] == "41").unwrap();
    let near = |name: &str, want: f64, within: f64| (one[name].as_f64().unwrap() - want).abs() < within;
    assert!(near("depth_m", 3.160, 1e-9) && near("depth_u95_m", 0.0197, 3e-4) && near("cutting_edge_m", 3.184_1, 2e-4), "{one}");
    assert_eq!((&one["opened"], &one["closed"]), (&json!("2027-01-15T01:00:00-07:00"), &json!("2027-01-15T01:11:57-07:00")));
    assert_eq!(
        (&one["depth_by"], &one["clock"], &one["state"]),
        (&json!("soundings"), &json!("rig's own, set by the host's"), &json!("covered"))
    );
    assert_eq!(whole["up_to"], "2027-01-15T12:05:00-07:00");
    assert!(whole["clocks"].as_str().unwrap().contains("set by the host's"));
    let untold = {
        let mut line = Line::planned();
        line.drill(&Sample { clock: false, ..good() }, "SIM-ONE", &hole("41", Leg::Single, 1));
        read(&line, Format::Json)
    };
    assert_eq!((&untold["set_ups"][0]["opened"], &untold["set_ups"][0]["clock"]), (&Value::Null, &json!("not known: nobody told the rig")));
}

#[test]
fn slots_are_those_that_the_rig_wrote() {
    let line = Line::worst();
    let held = line.held();
    let out = line.folder.path().join("slots");
    let files = Exported::new(&held).write(Format::Slots, &out).expect("an export");
    assert_eq!(files.len(), held.holes.len());
    for (file, hole) in files.iter().zip(&held.holes) {
        let want: Vec<u8> = hole.setup.slots.iter().flat_map(|slot| *slot.bytes()).collect();
        assert_eq!(std::fs::read(file).unwrap(), want, "{}", file.display());
        assert!(want.len() > 32 * 50 && want.len().is_multiple_of(32));
    }
    assert_eq!(std::fs::read_dir(&out).unwrap().count(), files.len(), "no half file is left");
    assert_eq!(held.plans.keys().filter(|(line, ..)| line == LINE).count(), 5);
}

#[test]
fn the_same_store_gives_the_same_bytes() {
    let line = Line::drilled();
    for format in [Format::Json, Format::Csv, Format::Geojson] {
        assert!(exported(&line, format, None) == exported(&line, format, None), "{format:?}");
    }
}
