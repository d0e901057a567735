-- Run after the steps, each time. Who did what is only ever added to.
CREATE TRIGGER IF NOT EXISTS audit_stays BEFORE UPDATE ON audit
BEGIN SELECT RAISE(ABORT, 'the audit is only ever added to'); END;
CREATE TRIGGER IF NOT EXISTS audit_is_kept BEFORE DELETE ON audit
BEGIN SELECT RAISE(ABORT, 'the audit is only ever added to'); END;
