//! Sheets that nobody made with good intent, or whose program did something odd.

use super::tests::{SHEET, escaped, ods, ods_cell, ods_table, options, problems, read_text, records, xlsx, zipped};
use super::*;
use proptest::prelude::*;
use rust_xlsxwriter::{Format, Formula, Workbook, Worksheet};
use std::time::{Duration, Instant};

const HEAD: &str = "Structure,Leg,Depth (ft),Hole diameter (in)\n";

/// A workbook whose sheet has the usual head and is then changed.
fn workbook(change: impl FnOnce(&mut Worksheet)) -> Vec<u8> {
    let mut workbook = Workbook::new();
    let sheet = workbook.add_worksheet();
    for (at, head) in HEAD.trim().split(',').enumerate() {
        sheet.write_string(0, u16::try_from(at).unwrap(), head).unwrap();
    }
    change(sheet);
    workbook.save_to_buffer().unwrap()
}

/// A workbook with something in one of its parts changed.
fn part_changed(bytes: &[u8], from: &str, to: &str) -> Vec<u8> {
    let mut archive = zip::ZipArchive::new(std::io::Cursor::new(bytes)).unwrap();
    let mut changed = false;
    let mut part = |at: usize| {
        let mut part = archive.by_index(at).unwrap();
        let mut text = String::new();
        std::io::Read::read_to_string(&mut part, &mut text).unwrap();
        changed |= text.contains(from);
        (part.name().unwrap().into_owned(), text.replace(from, to).into_bytes())
    };
    let parts: Vec<(String, Vec<u8>)> = (0..zip::ZipArchive::new(std::io::Cursor::new(bytes)).unwrap().len()).map(&mut part).collect();
    assert!(changed, "{from} is not there");
    zipped(&parts.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice())).collect::<Vec<_>>())
}

#[test]
fn formulas_count_by_the_value_they_were_saved_with_and_without_one_are_a_problem() {
    let row = |sheet: &mut Worksheet, down: u32, structure: f64, depth: &str| {
        sheet.write_number(down, 0, structure).unwrap();
        sheet.write_formula(down, 2, Formula::new("=9+1.5").set_result(depth)).unwrap();
        sheet.write_number(down, 3, 48).unwrap();
    };
    let sheet = Sheet::read(&workbook(|sheet| row(sheet, 1, 41.0, "10.5")), &options()).unwrap();
    assert!((sheet.legs[0].depth_m - 3.2004).abs() < 1e-9 && sheet.legs[0].structure == "41");
    assert_eq!(sheet.remarks[0].what, "formulas stand in rows 2: their values as last saved are used");
    // The library that writes it saves 0 where there is no value, as do others.
    let said = problems(&part_changed(&workbook(|sheet| row(sheet, 1, 41.0, "0")), "<v>0</v></c><c r=\"D2\"", "</c><c r=\"D2\""));
    assert!(said.iter().any(|s| s.starts_with("row 2, column \"Depth (ft)\": nothing read; a formula without a value")), "{said:?}");
    let said = problems(&workbook(|sheet| row(sheet, 1, 41.0, "#DIV/0!")));
    assert!(said[0].contains("the spreadsheet could not compute it"), "{said:?}");
    let cell = |attributes: &str| format!("<table:table-cell {attributes}></table:table-cell>");
    let table = |depth: &str| {
        let head: String = HEAD.trim().split(',').map(ods_cell).collect();
        let row = format!("{}<table:table-cell/>{depth}{}", ods_cell("41"), cell("office:value-type=\"float\" office:value=\"48\""));
        format!(
            "<table:table table:name=\"x\"><table:table-row>{head}</table:table-row><table:table-row>{row}</table:table-row></table:table>"
        )
    };
    let with_value = ods(&table(&cell("table:formula=\"of:=9+1.5\" office:value-type=\"float\" office:value=\"10.5\"")));
    assert!(Sheet::read(&with_value, &options()).unwrap().remarks[0].what.starts_with("formulas stand in rows 2"));
    assert!(problems(&ods(&table(&cell("table:formula=\"of:=9+1.5\"")))).iter().any(|s| s.contains("a formula without a value")));
    for text in ["=cmd()", "=1+1", "@SUM(1)", "+41", "-41"] {
        let said = problems(format!("{HEAD}{text},,10,48\n").as_bytes());
        assert!(said.len() == 1 && said[0].contains("takes for a formula: write the name alone"), "{said:?}");
    }
    assert!(problems(format!("{HEAD}41,,=9+1.5,48\n").as_bytes()).iter().any(|s| s.contains("a formula that nobody computes here")));
}

#[test]
fn merged_cells_are_read_down_a_column_and_refused_across_columns() {
    let legs = |sheet: &mut Worksheet| {
        for (down, leg) in [(1, "left"), (2, "right")] {
            sheet.write_string(down, 1, leg).unwrap();
            sheet.write_number(down, 2, 10.5).unwrap();
            sheet.write_number(down, 3, 48).unwrap();
        }
    };
    let down = workbook(|sheet| {
        legs(sheet);
        sheet.merge_range(1, 0, 2, 0, "41", &Format::new()).unwrap();
    });
    let sheet = Sheet::read(&down, &options()).unwrap();
    assert_eq!(sheet.legs.iter().map(LegPlan::name).collect::<Vec<_>>(), ["41 left", "41 right"]);
    assert!(sheet.remarks[0].to_string().starts_with("row 3: is spanned by a merged cell"), "{:?}", sheet.remarks);
    let across = workbook(|sheet| {
        legs(sheet);
        sheet.write_string(2, 0, "41").unwrap();
        sheet.merge_range(1, 0, 1, 1, "41", &Format::new()).unwrap();
    });
    assert!(problems(&across).iter().any(|s| s.starts_with("row 2: has merged cells: unmerge them")));
    let spanned = "<table:table-cell table:number-rows-spanned=\"2\" office:value-type=\"string\"><text:p>41</text:p></table:table-cell>";
    let rest = |leg: &str| [leg, "10.5", "48"].map(ods_cell).concat();
    let head: String = HEAD.trim().split(',').map(ods_cell).collect();
    let table = format!(
        "<table:table table:name=\"x\"><table:table-row>{head}</table:table-row><table:table-row>{spanned}{}</table:table-row><table:table-row><table:covered-table-cell/>{}</table:table-row></table:table>",
        rest("left"),
        rest("right")
    );
    assert_eq!(Sheet::read(&ods(&table), &options()).unwrap().legs.len(), 2);
    assert!(problems(&ods(&table.replace("number-rows-spanned", "number-columns-spanned"))).iter().any(|s| s.contains("merged")));
}

#[test]
fn dates_that_a_spreadsheet_made_of_lengths_are_not_taken_for_any() {
    let bytes = workbook(|sheet| {
        sheet.write_number(1, 0, 41).unwrap();
        let date = rust_xlsxwriter::ExcelDateTime::from_ymd(2026, 10, 6).unwrap();
        sheet.write_datetime_with_format(1, 2, date, &Format::new().set_num_format("d-mmm")).unwrap();
        sheet.write_number(1, 3, 48).unwrap();
    });
    assert_eq!(problems(&bytes).len(), 1);
    assert!(problems(&bytes)[0].contains("read \"2026-10-06\"; the spreadsheet made a date of it"), "{:?}", problems(&bytes));
}

#[test]
fn names_that_cannot_be_names_are_refused_and_shown_safely() {
    for name in ["../../x", "<b>", "a\x1b[2J", "a\u{202E}b", "=cmd()", "|calc", "a;b", "seventeen letters", "ü234567890123456"] {
        let mut writer = csv::Writer::from_writer(Vec::new());
        writer.write_record(HEAD.trim().split(',')).unwrap();
        writer.write_record([name, "", "10", "48"]).unwrap();
        let bytes = [b"\xEF\xBB\xBF".to_vec(), writer.into_inner().unwrap()].concat(); // marked as UTF-8, else \x1b is no text
        let said = problems(&bytes);
        assert!(said.len() == 1 && said[0].starts_with("row 2, column \"Structure\": read"), "{said:?}");
        assert!(said[0].chars().all(|c| !c.is_control() && c != '\u{202E}'), "{said:?}");
    }
}

#[test]
fn rows_and_bytes_are_bounded() {
    let rows = |count: u32| (0..count).map(|n| format!("S{n},,10,48\n")).collect::<String>();
    assert_eq!(read_text(&format!("{HEAD}{}", rows(20_000))).unwrap().legs.len(), 20_000);
    assert!(problems(format!("{HEAD}{}", rows(20_001)).as_bytes())[0].contains("more than 20000 rows"));
    let many = workbook(|sheet| {
        for down in 1..=20_001 {
            sheet.write_number(down, 0, down).unwrap();
        }
    });
    assert!(problems(&many).iter().any(|s| s.contains("more than 20000 rows")));
    let large = vec![b'x'; (33 << 20) as usize];
    assert_eq!(problems(&large), ["more than 32 MB: that is no structure sheet"]);
    assert!(problems(b"")[0].starts_with("the file is empty"));
    assert!(problems(format!("{HEAD}{}\n", ",".repeat(99) + "x").as_bytes()).iter().any(|s| s.contains("without a header")));
    assert!(problems(format!("{HEAD}{}\n", ",".repeat(100) + "x").as_bytes())[0].contains("more than 100 columns"));
    let unclosed = format!("{HEAD}\"41,,10,48\n{}", rows(200));
    assert!(problems(unclosed.as_bytes()).iter().any(|s| s.starts_with("row 2: a cell has more than 1000 characters: a quotation mark")));
}

#[test]
fn binaries_are_no_sheets() {
    let garbage: Vec<u8> = (0..4_096_u32).map(|n| u8::try_from(n.wrapping_mul(2_654_435_761) >> 24).unwrap()).collect();
    assert!(problems(&garbage)[0].starts_with("neither text nor a workbook"));
    assert!(problems(&[b"PK\x03\x04", &garbage[..]].concat())[0].starts_with("the workbook is damaged"));
    assert!(problems(&[&[0xD0, 0xCF, 0x11, 0xE0], &garbage[..]].concat())[0].contains("save it as .xlsx"));
    assert!(problems(&zipped(&[("readme.txt", b"hello")]))[0].starts_with("a zip archive and no workbook"));
    let whole = xlsx(&records(SHEET));
    for cut in [whole.len() / 3, whole.len() - 30] {
        assert!(!problems(&whole[..cut]).is_empty());
    }
}

/// The most that this process has held, kB.
#[cfg(target_os = "linux")]
fn peak_kb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap();
    line.trim().trim_end_matches(" kB").trim().parse().unwrap()
}

#[cfg(not(target_os = "linux"))]
fn peak_kb() -> u64 {
    0
}

/// A small archive of a large part, one that lies about it, and shorter ways to ask for more than there is.
#[test]
fn what_unpacks_to_too_much_is_refused_in_bounded_time_and_memory() {
    let types: (&str, &[u8]) = ("[Content_Types].xml", b"<Types/>");
    let book: (&str, &[u8]) = ("xl/workbook.xml", b"<workbook/>");
    let zeros = vec![b' '; 80 << 20];
    let honest = zipped(&[types, book, ("xl/worksheets/sheet1.xml", &zeros)]);
    drop(zeros);
    assert!(honest.len() < 1 << 20, "{}", honest.len());
    let before = (Instant::now(), peak_kb());
    assert!(problems(&honest)[0].contains("unpacks to more than 64 MB"));
    // One that lies about its size, in both places that say it.
    let size = u32::to_le_bytes(80 << 20);
    let mut lying = honest;
    while let Some(at) = lying.windows(4).position(|four| four == size) {
        lying[at..at + 4].copy_from_slice(&1_000_u32.to_le_bytes());
    }
    let said = problems(&lying);
    assert!(said[0].contains("unpacks to more than 64 MB") || said[0].contains("damaged"), "{said:?}");
    let shared =
        |count: &str| zipped(&[types, book, ("xl/sharedStrings.xml", format!("<sst uniqueCount=\"{count}\"><si/></sst>").as_bytes())]);
    for count in ["1000001", "99999999999999"] {
        assert!(problems(&shared(count))[0].contains("unpacks to more than"), "{count}");
    }
    let cell = |attributes: &str| {
        format!("<table:table-cell {attributes} office:value-type=\"string\"><text:p>{}</text:p></table:table-cell>", "x".repeat(500))
    };
    let row = |attributes: &str, cells: &str| format!("<table:table-row {attributes}>{cells}</table:table-row>");
    let bombs = [
        row("", &cell("table:number-columns-repeated=\"16384\"")).repeat(200),
        row("table:number-rows-repeated=\"1000000\"", &cell("")),
        row("", &cell(""))
            + &row("table:number-rows-repeated=\"1000000\"", "<table:table-cell/>")
            + &row("", &("<table:table-cell table:number-columns-repeated=\"16000\"/>".to_owned() + &cell(""))),
        row("", &("<table:table-cell table:number-columns-repeated=\"16000\"/>".to_owned() + &cell(""))).repeat(2_000),
    ];
    for (at, bomb) in bombs.iter().enumerate() {
        let said = problems(&ods(&format!("<table:table table:name=\"x\">{bomb}</table:table>")));
        assert!(said[0].starts_with("the workbook repeats cells without end"), "{at}: {said:?}");
    }
    let grown = peak_kb().saturating_sub(before.1);
    assert!(grown < 300_000, "{grown} kB");
    assert!(before.0.elapsed() < Duration::from_secs(60), "{:?}", before.0.elapsed());
}

/// A rectangle around these two cells would have 17 thousand million.
#[test]
fn a_cell_far_away_costs_nothing() {
    let bytes = workbook(|sheet| {
        sheet.write_string(1, 0, "41").unwrap();
        sheet.write_number(1, 2, 10).unwrap();
        sheet.write_number(1, 3, 48).unwrap();
        sheet.write_string(1_048_575, 16_383, "x").unwrap();
    });
    assert!(problems(&bytes)[0].starts_with("row 1048576: more than 100 columns"), "{:?}", problems(&bytes));
}

fn never_panics(bytes: &[u8]) {
    let read = std::panic::catch_unwind(|| Sheet::read(bytes, &options()));
    for finding in match &read {
        Ok(Ok(sheet)) => &sheet.warnings,
        Ok(Err(unsound)) => &unsound.problems,
        Err(_) => panic!("it panicked on {bytes:02x?}"),
    } {
        assert!(!finding.to_string().contains(char::is_control), "{finding:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..2_000), kind in 0..5_usize) {
        let magic: [&[u8]; 5] = [b"", b"PK\x03\x04", HEAD.as_bytes(), b"\xFF\xFE", b"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1"];
        never_panics(&[magic[kind], &bytes].concat());
    }

    #[test]
    fn any_cells_are_read_or_refused(cells in prop::collection::vec("[0-9a-zA-Z\u{0}-\u{7F}½'\"°,;./ -]{0,12}", 35), semicolons: bool) {
        let mut writer = csv::WriterBuilder::new().delimiter(if semicolons { b';' } else { b',' }).from_writer(b"\xEF\xBB\xBF".to_vec());
        writer.write_record(Column::ALL.iter().map(|column| column.head())).unwrap();
        writer.write_record(&cells).unwrap();
        never_panics(&writer.into_inner().unwrap());
    }

    #[test]
    fn damaged_files_are_read_or_refused(form in 0..3_usize, hits in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8), cut: prop::sample::Index, shorten: bool) {
        let rows = records(SHEET);
        let mut bytes = match form {
            0 => SHEET.as_bytes().to_vec(),
            1 => xlsx(&rows),
            _ => ods(&ods_table("x", &rows)),
        };
        for (at, byte) in hits {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        if shorten {
            bytes.truncate(cut.index(bytes.len()));
        }
        never_panics(&bytes);
    }

    /// Damage within the parts, which the archive's own checks do not see.
    #[test]
    fn damaged_parts_are_read_or_refused(text in "[<>/a-z\"=:0-9& ]{0,40}", at: prop::sample::Index) {
        let table = ods_table("x", &records(SHEET));
        let at = (0..=at.index(table.len())).rev().find(|at| table.is_char_boundary(*at)).unwrap();
        never_panics(&ods(&format!("{}{text}{}", &table[..at], &table[at..])));
        never_panics(&ods(&escaped(&table)));
    }
}
