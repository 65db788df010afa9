//! The program as its user runs it, built with the tests.

fn main() -> std::process::ExitCode {
    cuepost_host::cli::main()
}
