//! What the readings say: phases, features, checks, belief, proofs, next test.
