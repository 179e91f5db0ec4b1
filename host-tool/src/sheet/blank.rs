//! An empty sheet to fill in.

use super::columns::Column;

/// A sheet as CSV: every column with its header, and one example row that is read as a comment. Lengths may have their
/// units in the header or behind each figure; the example has them behind.
#[must_use]
pub fn blank() -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let heads = Column::ALL.iter().map(|column| column.head());
    let example = Column::ALL.iter().map(|column| example(*column));
    // A vector takes all that is written to it.
    let written = writer.write_record(heads).and_then(|()| writer.write_record(example));
    debug_assert!(written.is_ok(), "{written:?}");
    String::from_utf8(writer.into_inner().unwrap_or_default()).unwrap_or_default()
}

/// What stands in the example row.
const fn example(column: Column) -> &'static str {
    match column {
        Column::Line => "# example: a row that begins with # is a comment",
        Column::Structure => "41",
        Column::Leg => "left",
        Column::Station => "12+34",
        Column::Offset => "2 ft L",
        Column::Latitude => "45.1234",
        Column::Longitude => "-93.2345",
        Column::Depth => "10 ft 6 in",
        Column::Basis => "table",
        Column::Datum => "low side",
        Column::Diameter => "48 in",
        Column::PoleLength => "80 ft",
        Column::Class => "H2",
        Column::Species => "pine",
        Column::ButtCircumference => "62 in",
        Column::ButtToFraming => "71 ft 3 in",
        Column::Tag => "T-1041",
        Column::GroundOriginal => "812.40 ft",
        Column::GroundPad => "811.90 ft",
        Column::Spacing => "12 ft 6 in",
        Column::LineHeading => "35",
        Column::LineAngle => "12 R",
        Column::GuyDirection => "215",
        Column::Rake => "2 in per 10 ft",
        Column::TampingRoom => "6 in",
        Column::PlumbLimit => "1/4 in per ft",
        Column::DepthUnder => "6 in",
        Column::DepthOver => "6 in",
        Column::CentreOffset => "3 in",
        Column::Ticket => "8412-77",
        Column::TicketFrom => "2026-11-20",
        Column::TicketUntil => "2026-12-15",
        Column::Remarks => "SIMULATED",
        Column::SoilDepth | Column::ButtDiameter => "",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::tests::read_text;

    #[test]
    fn it_names_every_column_once_and_its_example_is_no_leg() {
        let unsound = read_text(&blank()).unwrap_err();
        let said: Vec<String> = unsound.problems.iter().map(ToString::to_string).collect();
        assert_eq!(said, ["has no row with a leg: write one row for each hole"]);
        assert_eq!(unsound.remarks.len(), 1, "{unsound:?}");
    }

    #[test]
    fn its_example_is_sound_as_a_row() {
        let row = blank().replace("# example: a row that begins with # is a comment", "SIMULATED tie").replace(",left,", ",single,");
        let sheet = read_text(&row).unwrap();
        assert_eq!((sheet.legs.len(), sheet.warnings.len()), (1, 0), "{:?}", sheet.warnings);
    }
}
