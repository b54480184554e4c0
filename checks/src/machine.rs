//! What a kept table says of the machine that it was made on.

fn named(path: &str, key: &str) -> Option<String> {
    let text = std::fs::read_to_string(path).ok()?;
    let line = text.lines().find(|line| line.starts_with(key))?;
    Some(line.split_once(':')?.1.trim().to_owned())
}

/// Program, system, processor, threads, memory and how busy it was, in one line.
pub fn machine() -> String {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let memory = named("/proc/meminfo", "MemTotal")
        .and_then(|text| text.split(' ').next()?.parse::<f64>().ok())
        .map_or(String::new(), |kb| format!(", {:.0} GB", kb / f64::from(1 << 20)));
    let load = std::fs::read_to_string("/proc/loadavg")
        .ok()
        .and_then(|text| Some(format!(", load {}", text.split(' ').next()?)))
        .unwrap_or_default();
    format!(
        "lightloss {}, {} {}, {}, {cores} threads{memory}{load}",
        env!("CARGO_PKG_VERSION"),
        std::env::consts::OS,
        std::env::consts::ARCH,
        named("/proc/cpuinfo", "model name").unwrap_or_else(|| "processor unknown".into()),
    )
}
