//! Terms and the solver.
