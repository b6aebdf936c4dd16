"""Commands about proofs on file."""
