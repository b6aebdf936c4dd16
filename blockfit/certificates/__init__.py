"""Proofs on file: what a certificate holds, and the checker that trusts none of the code that wrote it."""
