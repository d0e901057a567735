-- The units that a person reads figures in; where it is null, both stand side by side.
ALTER TABLE person ADD COLUMN units TEXT;
