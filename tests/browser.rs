//! The page of `check --html` in a headless Chromium: what it shows, what it does with keys, that every control has a
//! name, that it loads nothing, and how quickly ten thousand cases are there. Without a browser these tests say that they
//! were not run; `.ci/run` makes that a failure.

mod accessible;
mod colours;
mod demo;
mod driver;
mod large;
mod looks;
mod plan;
mod proof;
mod sample;
mod sealed;
