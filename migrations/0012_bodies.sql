-- Whether an Idempotency-Key came with another body before is told by the body itself.

ALTER TABLE run DROP COLUMN body_hash;
