//! What a number means: quantity, unit, uncertainty, conformity.
