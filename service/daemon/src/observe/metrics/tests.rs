use super::text::Exposition;
use super::*;

#[test]
fn what_was_counted_is_written_in_base_units() {
    let metrics = Metrics::new(PathBuf::from("/nowhere"));
    metrics.called("job.open", "ok", Duration::from_micros(700));
    metrics.called("job.open", "bay-busy", Duration::from_secs(60));
    metrics.readings("north \"4\"", ReadingsFate::OfJob, 12);
    metrics.opened("tls");
    metrics.opened("tls");
    metrics.closed("tls");
    metrics.clock_stepped(SignedDuration::from_secs(-3600));
    let mut out = Exposition::default();
    metrics.write(&mut out);
    let text = out.finish();
    for line in [
        "trisect_calls_total{method=\"job.open\",outcome=\"bay-busy\"} 1",
        "trisect_call_duration_seconds_bucket{method=\"job.open\",le=\"0.0005\"} 0",
        "trisect_call_duration_seconds_bucket{method=\"job.open\",le=\"0.001\"} 1",
        "trisect_call_duration_seconds_bucket{method=\"job.open\",le=\"10\"} 1",
        "trisect_call_duration_seconds_bucket{method=\"job.open\",le=\"+Inf\"} 2",
        "trisect_call_duration_seconds_sum{method=\"job.open\"} 60.0007",
        "trisect_readings_total{bay=\"north \\\"4\\\"\",fate=\"of-job\"} 12",
        "trisect_connections_open{listener=\"tls\"} 1",
        "trisect_clock_stepped_seconds -3600",
        "# TYPE trisect_call_duration_seconds histogram",
    ] {
        assert!(
            text.lines().any(|found| found == line),
            "{line}\nis missing in\n{text}"
        );
    }
}
