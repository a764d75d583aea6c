"""The auditor's dossier: made from what was known on a day, with its evidence attached, and checked away from "
"home."""
