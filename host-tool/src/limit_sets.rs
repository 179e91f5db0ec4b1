//! The limit sets that ship with the tool, each from a published specification. None is chosen without the user's say.

/// A limit set: its name, and the file.
#[derive(Clone, Copy, Debug)]
pub struct LimitFile {
    /// Its name.
    pub name: &'static str,
    /// What stands in it.
    pub text: &'static str,
}

/// Every set, in the order of their names.
pub const SETS: [LimitFile; 6] = [
    LimitFile { name: "pile-1-in-75", text: include_str!("../limits/pile-1-in-75.toml") },
    LimitFile { name: "pole-embedment-6-in", text: include_str!("../limits/pole-embedment-6-in.toml") },
    LimitFile { name: "shaft-20-mm-per-metre", text: include_str!("../limits/shaft-20-mm-per-metre.toml") },
    LimitFile { name: "shaft-one-and-a-half-percent", text: include_str!("../limits/shaft-one-and-a-half-percent.toml") },
    LimitFile { name: "shaft-quarter-inch-per-foot", text: include_str!("../limits/shaft-quarter-inch-per-foot.toml") },
    LimitFile { name: "tamping-6-in", text: include_str!("../limits/tamping-6-in.toml") },
];

/// The set of that name.
#[must_use]
pub fn named(name: &str) -> Option<LimitFile> {
    SETS.into_iter().find(|set| set.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::limits::Measurand;
    use crate::limits_file::Limits;

    fn most(name: &str, measurand: Measurand) -> f64 {
        let limits = Limits::read(named(name).unwrap().text).unwrap().about(3.048).limits;
        limits.into_iter().find(|limit| limit.measurand == measurand).map(|limit| limit.most).unwrap()
    }

    /// Check values §2 and §2.1: 1/4 in per ft SEEN, 20 mm/m SEEN, 1:75 MEMORY high, 1.5 % MEMORY medium; conversions CALC.
    #[test]
    fn a_hole_of_two_point_oh_five_percent_passes_one_set_and_fails_the_other() {
        let lean = |name| most(name, Measurand::OverallLean);
        assert!((lean("shaft-quarter-inch-per-foot") - 0.020_833).abs() < 1e-6);
        assert!((lean("shaft-20-mm-per-metre") - 0.020).abs() < 1e-12);
        assert!((lean("pile-1-in-75") - 1.0 / 75.0).abs() < 5e-6 && (lean("shaft-one-and-a-half-percent") - 0.015).abs() < 1e-12);
        let hole = 0.020_5;
        assert!(hole < lean("shaft-quarter-inch-per-foot") && hole > lean("shaft-20-mm-per-metre"));
        // check values §2, SEEN: 3.00 in pass, 3.01 fail
        let centre = most("shaft-quarter-inch-per-foot", Measurand::Centre);
        assert!((3.00 * 0.0254..3.01 * 0.0254).contains(&centre));
    }

    #[test]
    fn every_set_is_read_says_where_it_comes_from_and_leaves_the_statement_to_the_contract() {
        for set in SETS {
            let limits = Limits::read(set.text).unwrap();
            assert_eq!(limits.governs(), None, "{}", set.name);
            for limit in limits.about(3.0).limits {
                let said = ["read in the source", "read in a page", "from memory"].iter().any(|status| limit.source.contains(status));
                assert!(said, "{}: {}", set.name, limit.source);
            }
        }
    }
}
