//! What happened: jobs, readings, answers and verdicts, durable.
