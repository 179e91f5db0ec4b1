//! Sheets as people make them: what is read, and what is said of what cannot be.

use super::*;
use jiff::civil::date;
use shared_protocol::state::{Datum, Leg, SheetUnits};
use std::io::Write;
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

/// An invented sheet: feet and inches, metric, three legs with a guy, rock.
pub const SHEET: &str = include_str!("simulated.csv");

pub fn options() -> Options<'static> {
    Options { leave: &[], ignore: &[], today: date(2026, 11, 28) }
}

pub fn read_text(text: &str) -> Result<Sheet, Unsound> {
    Sheet::read(text.as_bytes(), &options())
}

/// The problems in words.
pub fn problems(bytes: &[u8]) -> Vec<String> {
    Sheet::read(bytes, &options()).unwrap_err().problems.iter().map(ToString::to_string).collect()
}

/// A sheet with these columns and rows, separated by |.
fn small(rows: &[&str]) -> Vec<u8> {
    let mut writer = csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
    rows.iter().for_each(|row| writer.write_record(row.split('|')).unwrap());
    writer.into_inner().unwrap()
}

/// The sheet's cells.
pub fn records(text: &str) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
    reader.records().map(|record| record.unwrap().iter().map(str::to_owned).collect()).collect()
}

/// A workbook of another program's making with these cells, each as text.
pub fn xlsx(rows: &[Vec<String>]) -> Vec<u8> {
    let mut workbook = rust_xlsxwriter::Workbook::new();
    put(workbook.add_worksheet(), rows);
    workbook.save_to_buffer().unwrap()
}

fn put(sheet: &mut rust_xlsxwriter::Worksheet, rows: &[Vec<String>]) {
    for (down, row) in rows.iter().enumerate() {
        for (right, cell) in row.iter().enumerate().filter(|(_, cell)| !cell.is_empty()) {
            sheet.write_string(u32::try_from(down).unwrap(), u16::try_from(right).unwrap(), cell).unwrap();
        }
    }
}

pub fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('"', "&quot;")
}

pub fn zipped(parts: &[(&str, &[u8])]) -> Vec<u8> {
    let mut writer = ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, bytes) in parts {
        writer.start_file(*name, SimpleFileOptions::default()).unwrap();
        writer.write_all(bytes).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

/// An .ods whose tables are these.
pub fn ods(tables: &str) -> Vec<u8> {
    let content = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?><office:document-content><office:body><office:spreadsheet>{tables}</office:spreadsheet></office:body></office:document-content>"
    );
    zipped(&[
        ("mimetype", b"application/vnd.oasis.opendocument.spreadsheet"),
        ("META-INF/manifest.xml", b"<manifest:manifest></manifest:manifest>"),
        ("content.xml", content.as_bytes()),
    ])
}

pub fn ods_cell(text: &str) -> String {
    if text.is_empty() {
        return "<table:table-cell/>".to_owned();
    }
    format!("<table:table-cell office:value-type=\"string\"><text:p>{}</text:p></table:table-cell>", escaped(text))
}

pub fn ods_table(name: &str, rows: &[Vec<String>]) -> String {
    let row =
        |row: &Vec<String>| format!("<table:table-row>{}</table:table-row>", row.iter().map(|cell| ods_cell(cell)).collect::<String>());
    let empty = "<table:table-row table:number-rows-repeated=\"1048000\"><table:table-cell table:number-columns-repeated=\"16384\"/></table:table-row>";
    format!("<table:table table:name=\"{name}\">{}{empty}</table:table>", rows.iter().map(row).collect::<String>())
}

#[test]
fn a_sheet_is_read_as_it_is_meant() {
    let sheet = read_text(SHEET).unwrap();
    let names: Vec<String> = sheet.legs.iter().map(LegPlan::name).collect();
    assert_eq!(names, ["41 left", "41 right", "42", "43 left", "43 middle", "43 right", "44"]);
    assert_eq!(sheet.legs.iter().map(|leg| leg.row).collect::<Vec<_>>(), [2, 3, 4, 5, 6, 7, 9]);
    let [left, right, metric, guyed, .., rock] = &sheet.legs[..] else { panic!() };
    let near = |a: Option<f64>, b: f64| assert!((a.unwrap() - b).abs() < 1e-9, "{a:?} is not {b}");
    assert_eq!((left.line.as_str(), left.station.as_deref(), left.leg), ("SIMULATED tie", Some("12+34"), Leg::Left));
    assert_eq!((left.units, left.datum, left.basis), (SheetUnits::FeetInches, Datum::LowSide, Some(Basis::Table)));
    near(Some(left.depth_m), 3.048);
    near(left.butt_to_framing_m, 71.25 * 0.3048);
    near(left.framed_spacing_m, 3.81);
    near(left.plumb_limit, 0.25 / 12.0);
    near(left.centre_offset_limit_m, 0.0762);
    near(left.butt.map(Butt::diameter_m), 1.27 / std::f64::consts::PI);
    near(Some(right.depth_m), 3.2004);
    assert_eq!((right.basis, right.leg), (Some(Basis::OwnersFigure), Leg::Right));
    assert_eq!(
        (metric.units, metric.datum, metric.leg, metric.basis),
        (SheetUnits::Metric, Datum::Stake, Leg::Single, Some(Basis::TenPercentPlusTwoFeet))
    );
    near(Some(metric.depth_m), 2.41);
    near(metric.offset_m, -0.5);
    near(metric.longitude_deg, -93.2345);
    assert_eq!(metric.butt, Some(Butt::DiameterM(0.32)));
    near(guyed.rake, 1.0 / 60.0);
    near(guyed.guy_direction_deg, 221.0);
    near(guyed.line_angle_deg, 12.0);
    assert_eq!((guyed.datum, guyed.species.as_deref(), guyed.basis), (Datum::Pad, Some("steel"), Some(Basis::SixthOfLength)));
    assert_eq!(rock.basis, Some(Basis::SoilOverRock { soil_depth_m: 0.6096 }));
    assert_eq!(rock.ticket, Some(Ticket { number: "SIM-8415".into(), from: Some("2026-11-20".into()), until: Some("2026-12-15".into()) }));
    // by hand: 812.4 − 10 + 71.25 is 873.65 ft, 813.9 − 10.5 + 71.5 is 874.9 ft: 15 in
    let warned: Vec<String> = sheet.warnings.iter().map(ToString::to_string).collect();
    assert_eq!(warned.len(), 1, "{warned:?}");
    assert!(warned[0].starts_with("row 2: arm not level: right end higher by 15.00 in"), "{warned:?}");
}

#[test]
fn text_files_and_workbooks_read_alike() {
    let sheet = read_text(SHEET).unwrap();
    let rows = records(SHEET);
    for bytes in [xlsx(&rows), ods(&ods_table("Holes", &rows))] {
        assert_eq!(Sheet::read(&bytes, &options()).unwrap().legs, sheet.legs);
    }
    let written = |separator: u8| {
        let mut writer = csv::WriterBuilder::new().delimiter(separator).from_writer(Vec::new());
        rows.iter().for_each(|row| writer.write_record(row).unwrap());
        writer.into_inner().unwrap()
    };
    for separator in [b';', b'\t'] {
        let read = Sheet::read(&written(separator), &options()).unwrap();
        assert!(read.legs == sheet.legs && read.remarks.iter().any(|r| r.what.contains("separated by")), "{:?}", read.remarks);
    }
    let commas = String::from_utf8(written(b';')).unwrap().replace("6.5 ft", "6,5 ft").replace("248.20 m", "248,20 m");
    assert_eq!(read_text(&commas).unwrap().legs, sheet.legs);
}

#[test]
fn other_encodings_are_read_and_said() {
    let text = SHEET.replace("SIMULATED tie", "SIMULATED Åby");
    let want = read_text(&text).unwrap().legs;
    let utf16 = |mark: [u8; 2], bytes: fn(u16) -> [u8; 2]| mark.into_iter().chain(text.encode_utf16().flat_map(bytes)).collect::<Vec<u8>>();
    let windows = encoding_rs::WINDOWS_1252.encode(&text).0.into_owned();
    let files = [
        (utf16([0xFF, 0xFE], u16::to_le_bytes), "UTF-16LE"),
        (utf16([0xFE, 0xFF], u16::to_be_bytes), "UTF-16BE"),
        (windows, "Windows-1252"),
    ];
    for (bytes, name) in files {
        let sheet = Sheet::read(&bytes, &options()).unwrap();
        assert_eq!(sheet.legs, want);
        assert!(sheet.remarks[0].what.starts_with(&format!("read as {name}")), "{:?}", sheet.remarks);
    }
    let marked = [b"\xEF\xBB\xBF", text.as_bytes()].concat();
    let sheet = Sheet::read(&marked, &options()).unwrap();
    assert!(sheet.legs == want && !sheet.remarks.iter().any(|r| r.what.contains("read as")), "{:?}", sheet.remarks);
    assert!(problems(&[0xFF, 0xFE, 0x00, 0xD8, 0x41])[0].contains("begins as UTF-16LE"));
}

#[test]
fn everything_wrong_is_said_in_one_go_with_its_place_and_how_to_mend_it() {
    let rows = [
        "Structure|Leg|Depth|Hole diameter (in)|Locate ticket|Ticket until",
        "41|left|10.5|48|SIM-1|2026-12-15",
        "41|right|10 ft 6 in|48|SIM-1|12/15/2026",
        "42|port|300 ft|48|SIM-1|2026-12-15",
        "43|||0.1|SIM-1|2026-12-15",
        "<b>||10 ft|48|SIM-1|2026-12-15",
    ];
    let want = [
        "row 2, column \"Depth\": read \"10.5\"; no unit: write it behind the figure, or in the header as in \"Depth (ft)\"",
        "row 3, column \"Ticket until\": read \"12/15/2026\"; expected a day as 2026-11-30",
        "row 4, column \"Leg\": read \"port\"; write one of: single, left, middle, right",
        "row 4, column \"Depth\": read \"300 ft\"; that is 91.44 m, and must be from 0.3 to 15 m: check figure and unit",
        "row 5, column \"Depth\": nothing read; every leg needs it",
        "row 5, column \"Hole diameter (in)\": read \"0.1\"; that is 0.003 m",
        "row 6, column \"Structure\": read \"<b>\"; < cannot stand in a name",
    ];
    let said = problems(&small(&rows));
    assert_eq!(said.len(), want.len(), "{said:#?}");
    for (said, want) in said.iter().zip(want) {
        assert!(said.starts_with(want), "{said}\nis not\n{want}");
    }
}

#[test]
fn a_structure_is_one_leg_or_left_and_right_or_three() {
    let sheet = |legs: &[&str]| {
        let rows: Vec<String> = legs.iter().map(|leg| format!("41|{leg}|10 ft|48 in")).collect();
        small(&["Structure|Leg|Depth|Diameter"].into_iter().chain(rows.iter().map(String::as_str)).collect::<Vec<_>>())
    };
    for legs in [&[""][..], &["L", "R"], &["right", "left"], &["Left", "Centre", "Right"]] {
        assert!(Sheet::read(&sheet(legs), &options()).is_ok(), "{legs:?}");
    }
    for legs in [&["left"][..], &["middle"], &["left", "middle"], &["middle", "right"], &["single", "left", "right"]] {
        let said = problems(&sheet(legs));
        assert!(said.len() == 1 && said[0].contains("a structure is a single leg, left and right, or left, middle and right"), "{said:?}");
    }
    for legs in [&["left", "right", "left"][..], &["", ""], &["single", ""]] {
        let said = problems(&sheet(legs));
        assert!(said.len() == 1 && said[0].contains("leg in row 2 already"), "{said:?}");
    }
}

#[test]
fn rows_are_left_out_and_columns_ignored_only_where_that_is_said() {
    let sheet = small(&["Structure|Leg|Depth|Diameter|Crew", "41|left|10 ft|48 in|a", "41|right|ten|48 in|b", "42||9 ft|48 in|c"]);
    let said = problems(&sheet);
    assert!(
        said.len() == 2 && said[0].starts_with("column \"Crew\": is not known") && said[1].starts_with("row 3, column \"Depth\""),
        "{said:?}"
    );
    let ignore = ["crew".to_owned()];
    let read = Sheet::read(&sheet, &Options { leave: &[3], ignore: &ignore, ..options() }).unwrap();
    assert_eq!(read.legs.iter().map(|leg| leg.row).collect::<Vec<_>>(), [2, 4]);
    let remarks: Vec<String> = read.remarks.iter().map(ToString::to_string).collect();
    assert_eq!(remarks, ["column \"Crew\": is ignored, as was said", "row 3: is left out, as was said"]);
    assert!(read.warnings.iter().any(|w| w.what.starts_with("structure 41 has left:")), "{:?}", read.warnings);
    let wrong = Sheet::read(&sheet, &Options { leave: &[3, 9], ignore: &["Cruw".to_owned()], ..options() }).unwrap_err();
    let said: Vec<String> = wrong.problems.iter().map(ToString::to_string).collect();
    assert!(
        said.iter().any(|s| s.starts_with("row 9: is to be left out, and"))
            && said.iter().any(|s| s.starts_with("column \"Cruw\": is to be ignored, and")),
        "{said:?}"
    );
}

#[test]
fn headers_are_checked() {
    let cases: [(&[&str], &str); 7] = [
        (&["Structure|Depth|Diameter|Setting depth", "41|9 ft|4 ft|9 ft"], "column \"Setting depth\": means the same as \"Depth\""),
        (&["Structure|Diameter", "41|4 ft"], "no column \"Depth\": every leg needs it"),
        (&["Structure (ft)|Depth|Diameter", "41|9 ft|4 ft"], "column \"Structure (ft)\": has a unit, and its cells are no figures"),
        (
            &["Structure|Depth (deg)|Diameter", "41|9|4 ft"],
            "row 2, column \"Depth (deg)\": read \"9\"; a length's column cannot be headed with that unit",
        ),
        (&["Structure|Depth||Diameter", "41|9 ft|x|4 ft"], "row 2: its cell 3 stands in a column without a header"),
        (&["Structure|Depth|Diameter", "41|9 ft|4 ft|x"], "row 2: its cell 4 stands in a column without a header"),
        (&["a|b|c", "1|2|3"], "no header is among its first 20 rows"),
    ];
    for (rows, want) in cases {
        let said = problems(&small(rows));
        assert!(said.len() == 1 && said[0].starts_with(want), "{rows:?}: {said:?}");
    }
    let gaps = problems(b"\n\nStructure,Depth,Diameter\r\n\r\n\n41,ten,48 in\n42,9 ft,48 in\n\n43,ten,48 in");
    assert!(gaps[0].starts_with("row 6,") && gaps[1].starts_with("row 9,"), "{gaps:?}");
    let titled = small(&["SIMULATED project", "", "Depth (ft)|STRUCTURE NO.|Hole dia. [in]", "10.5|41|48", "", "10-6|42|48"]);
    assert!(problems(&titled)[0].starts_with("row 6, column \"Depth (ft)\": read \"10-6\""), "rows are counted as an editor counts lines");
}

#[test]
fn what_to_know_before_boring_is_a_warning() {
    let rows = [
        "Structure|Depth|Basis|Diameter|Butt circumference|Tamping room|Plumb|Under|Over|Ticket|Ticket from|Ticket until",
        "1|10 ft|table|48 in|50 in|6 in|2 %|6 in|6 in|SIM-1||2026-11-28",
        "2|10 ft|table|48 in|50 in|6 in|2 %|6 in|6 in|SIM-1||2026-11-27",
        "3|10 ft|table|48 in|50 in|6 in|2 %|6 in|6 in|SIM-1|2026-11-29|2026-12-28",
        "4|10 ft|table|48 in|50 in|6 in|2 %|6 in|6 in|||",
        "5|10 ft||48 in|50 in|6 in||6 in|6 in|SIM-1||2026-12-28",
        "6|10 ft|table|24 in|50 in|6 in|2 %|6 in|6 in|SIM-1||2026-12-28",
        "7|10 ft|table|15 in|50 in|6 in|2 %|6 in|6 in|SIM-1||2026-12-28",
    ];
    let sheet = Sheet::read(&small(&rows), &options()).unwrap();
    let said: Vec<String> = sheet.warnings.iter().map(ToString::to_string).collect();
    let want = [
        "row 3, column \"Locate ticket\": SIM-1 was valid until 2026-11-27",
        "row 4, column \"Locate ticket\": SIM-1 is not valid before 2026-11-29",
        "row 5, column \"Locate ticket\": there is none",
        "row 6, column \"Depth basis\": is not said",
        "row 6, column \"Plumb limit\": is not set",
        "row 7, column \"Hole diameter\": 2 ft 0 in leaves 0 ft 4 in around a butt of 1 ft 4 in, and 0 ft 6 in is wanted",
        "row 8, column \"Hole diameter\": 1 ft 3 in does not take a butt of 1 ft 4 in",
    ];
    assert_eq!(said.len(), want.len(), "{said:#?}");
    said.iter().zip(want).for_each(|(said, want)| assert!(said.starts_with(want), "{said}\nis not\n{want}"));
}

/// Check values, 1.1 and 1.2: an 80 ft pole is set 10 ft deep by the table, and a 60 ft one 8 ft by a tenth and 2 ft but 10 ft by
/// a sixth; 2 ft of soil over rock under a 50 ft pole are 6.5 ft.
#[test]
fn a_depth_shallower_than_its_own_basis_is_a_finding() {
    let said = |length_ft: f64, depth_ft: f64, basis: Basis| {
        let leg = read_text(SHEET).unwrap().legs.remove(0);
        let leg = LegPlan { pole_length_m: Some(length_ft * 0.3048), depth_m: depth_ft * 0.3048, basis: Some(basis), ..leg };
        let said: Vec<String> = super::check::warnings(&leg, options().today).iter().map(ToString::to_string).collect();
        said.into_iter().find(|line| line.contains(" is less than "))
    };
    let soil_over_rock = Basis::SoilOverRock { soil_depth_m: 2.0 * 0.3048 };
    for (length, enough, basis) in [
        (80.0, 10.0, Basis::Table),
        (60.0, 8.0, Basis::TenPercentPlusTwoFeet),
        (60.0, 10.0, Basis::SixthOfLength),
        (50.0, 6.5, soil_over_rock),
    ] {
        assert_eq!(said(length, enough, basis), None, "{basis:?}");
        assert!(said(length, enough - 0.01, basis).is_some(), "{basis:?}");
    }
    assert_eq!(
        said(80.0, 9.5, Basis::Table).unwrap(),
        "row 2, column \"Depth\": 9 ft 6 in is less than 10 ft 0 in by table: correct it, or say whose figure it is"
    );
    assert_eq!(said(80.0, 1.0, Basis::OwnersFigure), None);
    assert_eq!(said(81.0, 1.0, Basis::Table), None, "no table lists it");
}

#[test]
fn the_first_sheet_of_a_workbook_whose_header_fits_is_read_and_the_others_are_named() {
    let mut workbook = rust_xlsxwriter::Workbook::new();
    put(workbook.add_worksheet().set_name("Cover").unwrap(), &[vec!["SIMULATED project".to_owned()]]);
    put(workbook.add_worksheet().set_name("Holes").unwrap(), &records(SHEET));
    put(workbook.add_worksheet().set_name("Again").unwrap(), &records(SHEET));
    let sheet = Sheet::read(&workbook.save_to_buffer().unwrap(), &options()).unwrap();
    assert_eq!((sheet.name.as_deref(), sheet.legs.len()), (Some("Holes"), 7));
    assert!(sheet.remarks[0].what.ends_with("others were not: \"Cover\", \"Again\""), "{:?}", sheet.remarks);
    let rows = records(SHEET);
    let two = ods(&format!("{}{}", ods_table("Cover", &[vec!["SIMULATED".to_owned()]]), ods_table("Holes", &rows)));
    assert_eq!(Sheet::read(&two, &options()).unwrap().name.as_deref(), Some("Holes"));
}
