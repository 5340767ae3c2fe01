-- Version 5: what charts follow of each cycle, and the machine log: services and counter.

ALTER TABLE load ADD COLUMN plateau_c_hundredths BIGINT, ADD COLUMN heating_s BIGINT, ADD COLUMN drying_s BIGINT;
ALTER TABLE machine ADD COLUMN services WORDS, ADD COLUMN counter BIGINT;
UPDATE machine SET services = '[]';
