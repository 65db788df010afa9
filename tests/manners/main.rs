//! How the commands behave on a command line: help, width, pipes, errors, silence.

mod guides;
mod help;
mod speech;
