//! What a rule set says: model, loader, defects, cases; the shipped rule sets.
