//! Published instances with known shortest makespans, as checks from outside.

use planner::improve::plan;
use planner::outcome::Options;
use planner::yardstick::job_shop::JobShop;
use planner::yardstick::solve_text;

/// Fisher and Thompson 1963, "Probabilistic learning combinations of local job-shop scheduling rules": 6 x 6, shortest makespan 55.
const FT06: &str = "\
6 6\n\
2 1 0 3 1 6 3 7 5 3 4 6\n\
1 8 2 5 4 10 5 10 0 10 3 4\n\
2 5 3 4 5 8 0 9 1 1 4 7\n\
1 5 0 5 2 5 3 3 4 8 5 9\n\
2 9 1 3 4 5 5 4 0 3 3 1\n\
1 3 3 3 5 9 0 10 4 4 2 1\n\
";

/// Lawrence 1984, "Resource constrained project scheduling": la01, 10 x 5, shortest makespan 666.
const LA01: &str = "\
10 5\n\
1 21 0 53 4 95 3 55 2 34\n\
0 21 3 52 4 16 2 26 1 71\n\
3 39 4 98 1 42 2 31 0 12\n\
1 77 0 55 4 79 2 66 3 77\n\
0 83 3 34 2 64 1 19 4 37\n\
1 54 2 43 4 79 0 92 3 62\n\
3 69 4 77 1 87 2 87 0 93\n\
2 38 0 60 1 41 3 24 4 83\n\
3 17 1 49 4 25 0 44 2 98\n\
4 77 3 79 2 43 1 75 0 96\n\
";

/// Lawrence 1984: la05, 10 x 5, shortest makespan 593.
const LA05: &str = "\
10 5\n\
1 72 0 87 4 95 2 66 3 60\n\
4 5 3 35 0 48 2 39 1 54\n\
1 46 3 20 2 21 0 97 4 55\n\
0 59 3 19 4 46 1 34 2 37\n\
4 23 2 73 3 25 1 24 0 28\n\
3 28 0 45 4 5 1 78 2 83\n\
0 53 3 71 1 37 4 29 2 12\n\
4 12 2 87 3 33 1 55 0 38\n\
2 49 3 83 1 40 0 48 4 7\n\
2 65 3 17 0 90 4 27 1 23\n\
";

/// Brandimarte 1993, "Routing and scheduling in a flexible job shop by tabu search": MK01, shortest makespan 40 (proved later).
const MK01: &str = "\
10 6\n\
6 2 0 5 2 4 3 4 3 2 5 1 1 2 2 4 5 2 3 5 5 1 6 0 1 1 2 1 3 5 6 2 6 3 3\n\
5 1 1 6 1 2 1 1 0 2 2 1 6 3 6 3 5 5 1 6 0 1\n\
5 1 1 6 2 2 4 5 2 3 5 5 1 6 0 1 3 2 4 1 6 5 6 2 0 1 4 5\n\
5 3 5 5 1 6 0 1 1 1 6 1 2 1 3 4 3 2 5 1 1 2 2 4 5 2\n\
6 3 4 3 2 5 1 1 3 5 5 1 6 0 1 1 1 6 2 0 5 2 4 2 1 6 3 6 3 2 4 1 6 5 6\n\
6 2 2 4 5 2 1 0 2 3 2 4 1 6 5 6 1 1 6 3 5 5 1 6 0 1 2 0 3 3 2\n\
5 1 5 1 2 0 3 3 2 3 2 4 1 6 5 6 3 1 6 4 1 0 6 1 2 1\n\
5 2 2 4 5 2 3 2 4 1 6 5 6 3 5 5 1 6 0 1 1 1 6 2 1 6 3 6\n\
6 1 5 1 2 0 1 4 5 3 5 6 2 6 3 3 1 0 2 3 2 4 1 6 5 6 2 1 6 3 6\n\
6 2 2 4 5 2 3 2 4 1 6 5 6 3 4 3 2 5 1 1 1 5 1 2 1 6 3 6 2 0 3 3 2\n\
";

fn makespan(text: &str, iterations: u64) -> i64 {
    let model = JobShop::read(text).expect("a job shop").model();
    let options = Options { iterations: Some(iterations), ..Options::default() };
    let found = plan(&model, &options, &|| 0.0);
    assert!(found.unplanned.is_empty());
    assert_eq!(crate::checker::violations(&model, &found), Vec::<String>::new());
    found.cost.makespan
}

#[test]
fn the_shortest_makespan_of_small_job_shops_is_found_and_never_undercut() {
    assert_eq!(makespan(FT06, 20_000), 55);
    assert_eq!(makespan(LA01, 20_000), 666);
    assert_eq!(makespan(LA05, 5_000), 593);
}

#[test]
fn the_shortest_makespan_of_a_flexible_job_shop_is_found() {
    assert_eq!(makespan(MK01, 60_000), 40);
}

#[test]
fn the_text_of_a_job_shop_gives_its_operations() {
    let printed =
        solve_text(FT06, &Options { iterations: Some(20_000), ..Options::default() }, &|| 0.0)
            .unwrap();
    assert!(printed.starts_with("{\"makespan\":55,\"operations\":[["), "{printed}");
    assert!(solve_text("2 2\n0 1 1", &Options::default(), &|| 0.0).is_err());
}
