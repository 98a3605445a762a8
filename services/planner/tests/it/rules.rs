//! No plan breaks a rule of the floor.

use crate::checker::violations;
use crate::shops::shop;
use planner::improve::plan;
use planner::outcome::Options;
use planner::repair::repair;
use proptest::prelude::*;

const WALK: Options = Options { iterations: Some(300), seed: 7, threads: 1 };

/// A thousand, or as many as the environment asks for.
fn cases() -> u32 {
    std::env::var("PROPTEST_CASES").ok().and_then(|cases| cases.parse().ok()).unwrap_or(1_000)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: cases(), failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_plan_of_a_random_shop_keeps_every_rule(model in shop()) {
        let first = plan(&model, &Options { iterations: Some(0), ..WALK }, &|| 0.0);
        prop_assert_eq!(violations(&model, &first), Vec::<String>::new());
        let better = plan(&model, &WALK, &|| 0.0);
        prop_assert_eq!(violations(&model, &better), Vec::<String>::new());
        prop_assert!(better.unplanned.len() <= first.unplanned.len());
        prop_assert!(!first.unplanned.is_empty() || better.cost.total() <= first.cost.total());
        prop_assert_eq!(better, plan(&model, &WALK, &|| 0.0));
    }

    #[test]
    fn a_repaired_plan_keeps_every_rule_and_changes_nothing_when_nothing_happened(model in shop(), ill in 0..3_usize, later in 0..200_i64) {
        let mut model = model;
        let before = plan(&model, &WALK, &|| 0.0);
        model.in_force.clone_from(&before.placements);
        let same = repair(&model);
        for (was, is) in before.placements.iter().zip(&same.placements) {
            prop_assert!(was.is_none() || was == is);
        }
        let searched = plan(&model, &WALK, &|| 0.0);
        prop_assert_eq!(violations(&model, &searched), Vec::<String>::new());
        prop_assert!(!same.unplanned.is_empty() || searched.cost.total() <= same.cost.total());
        model.keep_until = 300;
        let near = plan(&model, &WALK, &|| 0.0);
        prop_assert_eq!(violations(&model, &near), Vec::<String>::new());
        for (was, is) in before.placements.iter().zip(&near.placements) {
            prop_assert!(was.as_ref().is_none_or(|was| was.start >= 300) || was == is);
        }
        let people = model.technicians.len();
        model.technicians[ill % people].shifts.clear();
        model.now += later;
        let repaired = repair(&model);
        prop_assert_eq!(violations(&model, &repaired), Vec::<String>::new());
    }
}
