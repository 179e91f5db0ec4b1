//! What the README shows people works.

use std::process::Command;

/// The first word after `borewitness` on every line of the shell blocks.
fn subcommands(readme: &str) -> Vec<String> {
    let blocks = readme.split("```sh").skip(1).filter_map(|rest| rest.split("```").next());
    let lines = blocks.flat_map(str::lines).filter_map(|line| line.trim().strip_prefix("borewitness "));
    lines.filter_map(|rest| rest.split_whitespace().next()).map(str::to_owned).collect()
}

fn readme() -> String {
    std::fs::read_to_string(tests::root().join("README.md")).expect("the README")
}

#[test]
fn its_plan_is_one_that_the_program_reads() {
    let readme = readme();
    let plan = readme.split("```toml").nth(1).and_then(|rest| rest.split("```").next()).expect("a plan");
    let plan = host_tool::plan::from_toml(plan).expect("sound");
    assert_eq!((plan.structure.as_str(), plan.depth.0), ("41", 3_200_400));
}

/// 1/4 in per ft is 2.083 % and not 2 %: both limits stand, each as it is.
#[test]
fn its_limits_are_ones_that_the_program_reads() {
    let readme = readme();
    let limits = readme.split("```toml").nth(2).and_then(|rest| rest.split("```").next()).expect("limits");
    let set = host_tool::limits_file::Limits::read(limits).expect("sound").of(&shared_protocol::record::Plan::default());
    let most: Vec<f64> = set.limits.iter().map(|limit| (limit.most * 1e5).round() / 1e5).collect();
    assert_eq!((most, set.governs), (vec![0.020_83, 0.02], Some(host_tool::judge::limits::Governs::Guarded)));
}

#[test]
fn its_commands_are_ones_that_the_program_has() {
    let typed = std::fs::read_to_string(tests::root().join("host-tool/cli/src/args.rs")).expect("the arguments");
    let named = subcommands(&readme());
    assert!(named.len() >= 4, "{named:?}");
    for word in named {
        let variant: String = word[..1].to_uppercase() + &word[1..];
        assert!(typed.contains(&format!("    {variant}")), "README names {word}");
    }
}

#[test]
fn its_verbs_are_ones_that_xtask_has() {
    let out = Command::new(env!("CARGO")).args(["xtask", "--help"]).current_dir(tests::root()).output().expect("cargo");
    let help = String::from_utf8(out.stdout).expect("UTF-8");
    let text = readme() + &std::fs::read_to_string(tests::root().join("DEVELOPERS.md")).expect("the other");
    let verbs: Vec<&str> =
        text.split("cargo xtask ").skip(1).filter_map(|rest| rest.split(|c: char| !c.is_alphanumeric() && c != '-').next()).collect();
    assert!(verbs.len() >= 5, "{verbs:?}");
    for verb in verbs.iter().filter(|v| !v.is_empty()) {
        assert!(help.lines().any(|line| line.split_whitespace().next() == Some(verb)), "there is no verb {verb}:\n{help}");
    }
}
