//! The columns of a structure sheet: how each is headed, and what it holds.
//!
//! One table. A header is compared by its letters and digits alone, so neither case nor punctuation matters, and its
//! unit stands after it: `Depth (ft)`, `Depth [ft]`, `Depth, ft`.

use super::written::{Unit, unit};

/// What kind of thing a column holds, with the bounds that no such figure of this trade is beyond.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Kind {
    /// A name or label.
    Name,
    /// Free text.
    Text,
    /// One of a few words.
    Word,
    /// A length, least and most, metres.
    Length(f64, f64),
    /// Sideways over length, least and most.
    Ratio(f64, f64),
    /// Degrees, least and most.
    Degrees(f64, f64),
    /// A day.
    Day,
}

macro_rules! columns {
    ($($column:ident $head:literal $kind:expr, [$($synonym:literal),*], $what:literal;)*) => {
        /// A column.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub(super) enum Column { $(#[doc = $what] $column),* }

        impl Column {
            /// Every column in the order of the blank sheet.
            pub const ALL: &'static [Self] = &[$(Self::$column),*];

            /// How the blank sheet heads it.
            pub const fn head(self) -> &'static str {
                match self { $(Self::$column => $head),* }
            }

            /// What it holds.
            pub const fn kind(self) -> Kind {
                match self { $(Self::$column => $kind),* }
            }

            /// How else it may be headed: letters and digits only.
            const fn synonyms(self) -> &'static [&'static str] {
                match self { $(Self::$column => &[$($synonym),*]),* }
            }
        }
    };
}

use Kind::{Day, Degrees, Length, Name, Ratio, Text, Word};

columns! {
    Line "Line" Name, ["linename", "lineno", "linenumber", "circuit", "tapline"], "Line.";
    Structure "Structure" Name, ["str", "strno", "structureno", "structurenumber", "structurename", "structureid", "strnumber"], "Structure.";
    Leg "Leg" Word, ["poleposition", "legposition"], "Leg, looking ahead on line.";
    Station "Station" Name, ["sta", "stationing", "chainage"], "Station, as the line's own stationing writes it.";
    Offset "Offset" Length(-1_000.0, 1_000.0), ["os", "lateraloffset", "offsetfromline", "offsetrl", "offsetlr"], "Offset from the line, right positive.";
    Latitude "Latitude" Degrees(-90.0, 90.0), ["lat", "latitudedeg"], "Latitude, north positive.";
    Longitude "Longitude" Degrees(-180.0, 180.0), ["lon", "long", "lng"], "Longitude, east positive.";
    Depth "Depth" Length(0.3, 15.0), ["planneddepth", "settingdepth", "setdepth", "embedment", "embedmentdepth", "holedepth", "depthofhole", "depthofset"], "Planned depth below the datum.";
    Basis "Depth basis" Word, ["basis", "basisofdepth", "settingbasis", "depthrule", "settingrule"], "What set the depth.";
    SoilDepth "Soil over rock" Length(0.0, 15.0), ["soildepth", "depthofsoil", "depthtorock", "overburden", "rockat"], "Depth of the soil over rock.";
    Datum "Datum" Word, ["depthdatum", "depthfrom", "measuredfrom", "datumside"], "What depths count from.";
    Diameter "Hole diameter" Length(0.15, 4.0), ["diameter", "dia", "holedia", "holesize", "augerdiameter", "augerdia", "bore", "diaofhole", "holewidth"], "Diameter of the hole.";
    PoleLength "Pole length" Length(3.0, 60.0), ["polelen", "poleht", "poleheight", "polesize"], "Length of the pole.";
    Class "Pole class" Name, ["class", "poleclass", "cl"], "Class of the pole.";
    Species "Species" Name, ["material", "speciesormaterial", "polematerial", "polespecies", "polespeciesmaterial", "speciesmaterial", "timber", "wood"], "Species or material of the pole.";
    ButtCircumference "Butt circumference" Length(0.2, 6.0), ["buttcirc", "circumferenceofbutt", "buttgirth", "circbutt", "buttcircmeasured", "measuredbuttcirc", "measuredbuttcircumference"], "Measured round the butt.";
    ButtDiameter "Butt diameter" Length(0.06, 2.0), ["buttdia", "diameterofbutt", "diabutt", "measuredbuttdia", "measuredbuttdiameter", "polebuttdia"], "Measured across the butt.";
    ButtToFraming "Butt to framing" Length(1.0, 60.0), ["butttoframing", "tapedbutttoframing", "buttframing", "framinglength", "butttotopframing", "tapedlength", "butttocrossarm", "butttoarm"], "Taped from butt to framing.";
    Tag "Pole tag" Name, ["tag", "poletagno", "tagno", "tagnumber", "poletagnumber", "polenumber", "poleno", "poleid"], "Tag of the pole.";
    GroundOriginal "Ground elevation original" Length(-450.0, 9_000.0), ["originalground", "originalgroundelevation", "originalgroundelev", "groundelevation", "groundelev", "elevation", "elev", "ogelev", "og", "groundelevorig"], "Elevation of the original ground.";
    GroundPad "Ground elevation pad" Length(-450.0, 9_000.0), ["padelevation", "padelev", "gradedpad", "padgrade", "groundelevpad"], "Elevation of the graded pad.";
    Spacing "Framed spacing" Length(0.5, 40.0), ["spacing", "polespacing", "legspacing", "polespacingframed"], "Between poles, as framed.";
    LineHeading "Heading of line" Degrees(0.0, 360.0), ["lineheading", "heading", "bearing", "bearingahead", "azimuth", "lineazimuth", "aheadbearing", "linebearing"], "Heading ahead on line, clockwise from north.";
    LineAngle "Line angle" Degrees(-180.0, 180.0), ["angle", "deflection", "deflectionangle", "lineangledeflection"], "How the line turns, right positive.";
    GuyDirection "Guy direction" Degrees(0.0, 360.0), ["guybearing", "guyheading", "guyazimuth", "directionofguy"], "Where the guy leads, clockwise from north.";
    Rake "Rake" Ratio(0.0, 0.2), ["guyrake", "polerake", "rakeagainststrain", "raked"], "Rake of the pole against the strain, sideways over height.";
    TampingRoom "Tamping room" Length(0.0, 1.5), ["tamp", "tamproom", "roomtotamp", "backfillroom", "annulus", "tampingspace", "freespace"], "Room around the butt for tamping.";
    PlumbLimit "Plumb limit" Ratio(0.001, 0.2), ["plumb", "plumbtolerance", "plumbness", "leanlimit", "maxlean", "verticality", "plumbtol"], "The most lean of the hole.";
    DepthUnder "Depth under" Length(0.0, 2.0), ["under", "depthunderlimit", "mindepthtolerance", "depthminus", "depthtoleranceunder", "underdepth", "depthtolunder", "depthtolminus"], "How much less than planned is accepted.";
    DepthOver "Depth over" Length(0.0, 2.0), ["over", "depthoverlimit", "depthplus", "depthtoleranceover", "overdepth", "depthtolover", "depthtolplus"], "How much more than planned is accepted.";
    CentreOffset "Centre offset limit" Length(0.005, 2.0), ["centreoffset", "centeroffset", "centeroffsetlimit", "locationtolerance", "stakeoffset", "stakeoffsetlimit", "offcentre", "offcenter", "centretolerance", "centertolerance"], "How far the hole's centre may be from the stake.";
    Ticket "Locate ticket" Name, ["ticket", "locate", "locateno", "ticketno", "ticketnumber", "locateticketno", "locateticketnumber", "utilitylocate", "locates"], "Number of the utility-locate ticket.";
    TicketFrom "Ticket from" Day, ["ticketvalidfrom", "locatefrom", "locatevalidfrom", "ticketstart", "locatedate", "ticketdate"], "First day on which it is valid.";
    TicketUntil "Ticket until" Day, ["ticketvaliduntil", "locateuntil", "locatevaliduntil", "ticketexpires", "ticketexpiry", "expires", "validuntil", "ticketgoodthrough", "locateexpires", "locateexpiry", "ticketvalidto"], "Last day on which it is valid.";
    Remarks "Remarks" Text, ["remark", "notes", "note", "comments", "comment"], "Whatever else there is to say.";
}

impl Column {
    /// The column with this header, and the unit that it gives.
    pub fn of_header(header: &str) -> Option<(Self, Option<Unit>)> {
        let (name, bracketed) = in_brackets(header);
        if let Some(text) = bracketed {
            let with_unit = Self::named(&name).and_then(|column| Some((column, Some(unit(&text)?))));
            return with_unit.or_else(|| Some((Self::named(header)?, None))); // "Offset (R/L)" has no unit there
        }
        if let Some(column) = Self::named(&name) {
            return Some((column, None));
        }
        let cut = name.trim_end().rfind([' ', ',', '_', ';', ':'])?;
        Some((Self::named(&name[..cut])?, Some(unit(&name[cut + 1..])?)))
    }

    fn named(header: &str) -> Option<Self> {
        let letters = letters(header);
        let is = |column: &&Self| self::letters(column.head()) == letters || column.synonyms().contains(&letters.as_str());
        Self::ALL.iter().find(is).copied().filter(|_| !letters.is_empty())
    }

    /// Whether a figure of it needs a unit.
    pub const fn needs_unit(self) -> bool {
        matches!(self.kind(), Kind::Length(..) | Kind::Ratio(..))
    }
}

/// How many of these cells are headers that are known.
pub(super) fn known_in<'a>(cells: impl Iterator<Item = &'a str>) -> usize {
    cells.filter(|cell| Column::of_header(cell).is_some()).count()
}

/// Letters and digits in lower case.
pub(super) fn letters(text: &str) -> String {
    text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

/// "Depth (ft)" is "Depth" and "ft".
fn in_brackets(header: &str) -> (String, Option<String>) {
    let header = header.trim();
    for (open, close) in [('(', ')'), ('[', ']')] {
        if let Some((name, rest)) = header.split_once(open)
            && let Some((text, after)) = rest.split_once(close)
        {
            return (format!("{name}{after}"), Some(text.to_owned()));
        }
    }
    (header.to_owned(), None)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn headers_are_read_as_people_write_them() {
        use Column as C;
        let rows = [
            ("Depth (ft)", Some((C::Depth, Some(Unit::Feet)))),
            ("DEPTH [FT]", Some((C::Depth, Some(Unit::Feet)))),
            ("depth, m", Some((C::Depth, Some(Unit::Metres)))),
            ("Setting depth ft-in", Some((C::Depth, Some(Unit::FeetInches)))),
            ("Butt circ. [in]", Some((C::ButtCircumference, Some(Unit::Inches)))),
            ("Butt dia. (mm)", Some((C::ButtDiameter, Some(Unit::Millimetres)))),
            ("Structure #", Some((C::Structure, None))),
            ("STR. NO.", Some((C::Structure, None))),
            ("Plumb limit (%)", Some((C::PlumbLimit, Some(Unit::Percent)))),
            ("Plumb limit (in per ft)", Some((C::PlumbLimit, Some(Unit::InchesPerFoot)))),
            ("Offset (R/L)", Some((C::Offset, None))),
            ("Line", Some((C::Line, None))),
            ("Depth (cubits)", None),
            ("Crew", None),
            ("", None),
            ("()", None),
            ("(ft)", None),
        ];
        for (header, want) in rows {
            assert_eq!(Column::of_header(header), want, "{header}");
        }
    }

    #[test]
    fn every_column_is_found_by_each_of_its_names_and_by_no_others() {
        let mut seen = BTreeSet::new();
        for column in Column::ALL {
            let own: BTreeSet<String> = column.synonyms().iter().map(|s| (*s).to_owned()).chain([letters(column.head())]).collect();
            for name in own {
                assert_eq!(name, letters(&name), "{name} is letters only");
                assert_eq!(Column::of_header(&name), Some((*column, None)), "{name}");
                assert!(seen.insert(name.clone()), "{name} names two columns");
            }
        }
    }
}
