"""Proving a home: archive, ledger, warehouse, balance of lines and pages, each held against the others."""

from pipeline.verify.findings import Finding
from pipeline.verify.run import VerifyResult, verify_home
from pipeline.verify.tell import describe_verify, tell_verify

__all__ = ["Finding", "VerifyResult", "describe_verify", "tell_verify", "verify_home"]
