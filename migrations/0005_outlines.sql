-- Where a block lies: a geometry as RFC 7946 writes it.
ALTER TABLE block ADD COLUMN geometry TEXT;
