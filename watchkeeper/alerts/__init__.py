"""From verdicts to alerts: life cycle, suppression, shelving, and the words spoken."""
