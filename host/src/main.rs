//! The program `cuepost`.

fn main() -> std::process::ExitCode {
    cuepost_host::cli::main()
}
