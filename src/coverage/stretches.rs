//! Instructions joined to stretches of addresses and source lines.

use super::flow::Flow;
use super::model::Stretch;
use crate::units;
use crate::verdict::Names;

/// How many stretches a sentence names.
const NAMED: usize = 2;

/// Joins instructions, given in order as first address and the one behind, where one begins where another ends.
pub fn join(instructions: impl IntoIterator<Item = (u32, u32)>, names: Names) -> Vec<Stretch> {
    let mut ranges: Vec<(u32, u32, Vec<u32>)> = Vec::new();
    for (at, next) in instructions {
        match ranges.last_mut() {
            Some((_, end, list)) if *end >= at => {
                *end = next.max(*end);
                list.push(at);
            }
            _ => ranges.push((at, next, vec![at])),
        }
    }
    let stretch = |(at, end, list): (u32, u32, Vec<u32>)| Stretch {
        at: names.spot(at),
        last: end - 1,
        source: source(&list, names),
        instructions: list.len() as u64,
    };
    ranges.into_iter().map(stretch).collect()
}

/// Joins instructions of a flow.
pub fn of_flow(flow: &Flow, addresses: impl IntoIterator<Item = u32>, names: Names) -> Vec<Stretch> {
    let known = addresses.into_iter().filter_map(|at| flow.steps.get(&at).map(|step| (at, at + step.decoded.length)));
    join(known, names)
}

/// The file of the first instruction, and its lines among all of them.
fn source(instructions: &[u32], names: Names) -> Option<String> {
    let lines = names.rig.map.host().lines();
    let file = instructions.iter().find_map(|at| lines.at(*at))?.file;
    let numbers = instructions.iter().filter_map(|at| lines.at(*at)).filter(|line| line.file == file);
    let numbers: Vec<u32> = numbers.map(|line| line.line).collect();
    let (first, last) = (numbers.iter().min()?, numbers.iter().max()?);
    Some(if first == last { format!("{file}:{first}") } else { format!("{file}:{first}-{last}") })
}

/// Stretches as a sentence names them: the first few, and how many instructions more there are.
pub fn words(stretches: &[Stretch]) -> String {
    let mut parts: Vec<String> = stretches.iter().take(NAMED).map(one).collect();
    let more: u64 = stretches.iter().skip(NAMED).map(|stretch| stretch.instructions).sum();
    if more > 0 {
        let plural = if more == 1 { "" } else { "s" };
        parts.push(format!("{} instruction{plural} elsewhere", units::thousands(more)));
    }
    parts.join(" and ")
}

fn one(stretch: &Stretch) -> String {
    let range = format!("{}-{}", units::address(stretch.at.address), units::address(stretch.last));
    match &stretch.source {
        Some(source) => format!("{range}, {source}"),
        None => range,
    }
}
