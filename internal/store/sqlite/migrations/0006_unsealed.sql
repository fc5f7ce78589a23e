-- The readings that are not sealed yet, in a table that writes half as much to the
-- disk as the one before: the key is one number that rises, so that a new row is
-- put behind the last one and full pages are not touched again; and numbers with
-- at most two decimals take two or three bytes instead of eight.
--
-- key    time in Unix milliseconds * 65536 + sensor id
-- others a whole number means hundredths of the unit, a REAL the value itself, NULL none
CREATE TABLE unsealed (
	key                INTEGER PRIMARY KEY,
	flags              INTEGER NOT NULL,
	pm1_ug_m3          ANY,
	pm2_5_ug_m3        ANY,
	pm4_ug_m3          ANY,
	pm10_ug_m3         ANY,
	pm1_atm_ug_m3      ANY,
	pm2_5_atm_ug_m3    ANY,
	pm10_atm_ug_m3     ANY,
	n0_3_cm3           ANY,
	n0_5_cm3           ANY,
	n1_0_cm3           ANY,
	n2_5_cm3           ANY,
	n5_cm3             ANY,
	n10_cm3            ANY,
	nPM0_5_cm3         ANY,
	nPM1_0_cm3         ANY,
	nPM2_5_cm3         ANY,
	nPM4_0_cm3         ANY,
	nPM10_cm3          ANY,
	typical_size_um    ANY,
	rh_percent         ANY,
	temperature_c      ANY,
	formaldehyde_mg_m3 ANY
) STRICT;

-- Multiplied, not shifted: a time too far off for a key then is an error.
INSERT INTO unsealed SELECT time_ms * 65536 + sensor_id, flags,
	iif(abs(pm1_ug_m3) < 1e12 AND round(pm1_ug_m3 * 100) / 100.0 = pm1_ug_m3, CAST(round(pm1_ug_m3 * 100) AS INTEGER), pm1_ug_m3),
	iif(abs(pm2_5_ug_m3) < 1e12 AND round(pm2_5_ug_m3 * 100) / 100.0 = pm2_5_ug_m3, CAST(round(pm2_5_ug_m3 * 100) AS INTEGER), pm2_5_ug_m3),
	iif(abs(pm4_ug_m3) < 1e12 AND round(pm4_ug_m3 * 100) / 100.0 = pm4_ug_m3, CAST(round(pm4_ug_m3 * 100) AS INTEGER), pm4_ug_m3),
	iif(abs(pm10_ug_m3) < 1e12 AND round(pm10_ug_m3 * 100) / 100.0 = pm10_ug_m3, CAST(round(pm10_ug_m3 * 100) AS INTEGER), pm10_ug_m3),
	iif(abs(pm1_atm_ug_m3) < 1e12 AND round(pm1_atm_ug_m3 * 100) / 100.0 = pm1_atm_ug_m3, CAST(round(pm1_atm_ug_m3 * 100) AS INTEGER), pm1_atm_ug_m3),
	iif(abs(pm2_5_atm_ug_m3) < 1e12 AND round(pm2_5_atm_ug_m3 * 100) / 100.0 = pm2_5_atm_ug_m3, CAST(round(pm2_5_atm_ug_m3 * 100) AS INTEGER), pm2_5_atm_ug_m3),
	iif(abs(pm10_atm_ug_m3) < 1e12 AND round(pm10_atm_ug_m3 * 100) / 100.0 = pm10_atm_ug_m3, CAST(round(pm10_atm_ug_m3 * 100) AS INTEGER), pm10_atm_ug_m3),
	iif(abs(n0_3_cm3) < 1e12 AND round(n0_3_cm3 * 100) / 100.0 = n0_3_cm3, CAST(round(n0_3_cm3 * 100) AS INTEGER), n0_3_cm3),
	iif(abs(n0_5_cm3) < 1e12 AND round(n0_5_cm3 * 100) / 100.0 = n0_5_cm3, CAST(round(n0_5_cm3 * 100) AS INTEGER), n0_5_cm3),
	iif(abs(n1_0_cm3) < 1e12 AND round(n1_0_cm3 * 100) / 100.0 = n1_0_cm3, CAST(round(n1_0_cm3 * 100) AS INTEGER), n1_0_cm3),
	iif(abs(n2_5_cm3) < 1e12 AND round(n2_5_cm3 * 100) / 100.0 = n2_5_cm3, CAST(round(n2_5_cm3 * 100) AS INTEGER), n2_5_cm3),
	iif(abs(n5_cm3) < 1e12 AND round(n5_cm3 * 100) / 100.0 = n5_cm3, CAST(round(n5_cm3 * 100) AS INTEGER), n5_cm3),
	iif(abs(n10_cm3) < 1e12 AND round(n10_cm3 * 100) / 100.0 = n10_cm3, CAST(round(n10_cm3 * 100) AS INTEGER), n10_cm3),
	iif(abs(nPM0_5_cm3) < 1e12 AND round(nPM0_5_cm3 * 100) / 100.0 = nPM0_5_cm3, CAST(round(nPM0_5_cm3 * 100) AS INTEGER), nPM0_5_cm3),
	iif(abs(nPM1_0_cm3) < 1e12 AND round(nPM1_0_cm3 * 100) / 100.0 = nPM1_0_cm3, CAST(round(nPM1_0_cm3 * 100) AS INTEGER), nPM1_0_cm3),
	iif(abs(nPM2_5_cm3) < 1e12 AND round(nPM2_5_cm3 * 100) / 100.0 = nPM2_5_cm3, CAST(round(nPM2_5_cm3 * 100) AS INTEGER), nPM2_5_cm3),
	iif(abs(nPM4_0_cm3) < 1e12 AND round(nPM4_0_cm3 * 100) / 100.0 = nPM4_0_cm3, CAST(round(nPM4_0_cm3 * 100) AS INTEGER), nPM4_0_cm3),
	iif(abs(nPM10_cm3) < 1e12 AND round(nPM10_cm3 * 100) / 100.0 = nPM10_cm3, CAST(round(nPM10_cm3 * 100) AS INTEGER), nPM10_cm3),
	iif(abs(typical_size_um) < 1e12 AND round(typical_size_um * 100) / 100.0 = typical_size_um, CAST(round(typical_size_um * 100) AS INTEGER), typical_size_um),
	iif(abs(rh_percent) < 1e12 AND round(rh_percent * 100) / 100.0 = rh_percent, CAST(round(rh_percent * 100) AS INTEGER), rh_percent),
	iif(abs(temperature_c) < 1e12 AND round(temperature_c * 100) / 100.0 = temperature_c, CAST(round(temperature_c * 100) AS INTEGER), temperature_c),
	iif(abs(formaldehyde_mg_m3) < 1e12 AND round(formaldehyde_mg_m3 * 100) / 100.0 = formaldehyde_mg_m3, CAST(round(formaldehyde_mg_m3 * 100) AS INTEGER), formaldehyde_mg_m3)
FROM reading;

DROP TABLE reading; -- with its trigger, which migrate makes anew

-- How many rows of unsealed are in the sealed day too and still to be deleted.
-- They count once, as sealed.
ALTER TABLE sealed_day ADD COLUMN superseded INTEGER NOT NULL DEFAULT 0;

-- For people and other programs: times, numbers and units as they were.
CREATE VIEW reading AS SELECT key >> 16 AS time_ms, key & 65535 AS sensor_id, flags,
	iif(typeof(pm1_ug_m3) = 'integer', pm1_ug_m3 / 100.0, pm1_ug_m3) AS pm1_ug_m3,
	iif(typeof(pm2_5_ug_m3) = 'integer', pm2_5_ug_m3 / 100.0, pm2_5_ug_m3) AS pm2_5_ug_m3,
	iif(typeof(pm4_ug_m3) = 'integer', pm4_ug_m3 / 100.0, pm4_ug_m3) AS pm4_ug_m3,
	iif(typeof(pm10_ug_m3) = 'integer', pm10_ug_m3 / 100.0, pm10_ug_m3) AS pm10_ug_m3,
	iif(typeof(pm1_atm_ug_m3) = 'integer', pm1_atm_ug_m3 / 100.0, pm1_atm_ug_m3) AS pm1_atm_ug_m3,
	iif(typeof(pm2_5_atm_ug_m3) = 'integer', pm2_5_atm_ug_m3 / 100.0, pm2_5_atm_ug_m3) AS pm2_5_atm_ug_m3,
	iif(typeof(pm10_atm_ug_m3) = 'integer', pm10_atm_ug_m3 / 100.0, pm10_atm_ug_m3) AS pm10_atm_ug_m3,
	iif(typeof(n0_3_cm3) = 'integer', n0_3_cm3 / 100.0, n0_3_cm3) AS n0_3_cm3,
	iif(typeof(n0_5_cm3) = 'integer', n0_5_cm3 / 100.0, n0_5_cm3) AS n0_5_cm3,
	iif(typeof(n1_0_cm3) = 'integer', n1_0_cm3 / 100.0, n1_0_cm3) AS n1_0_cm3,
	iif(typeof(n2_5_cm3) = 'integer', n2_5_cm3 / 100.0, n2_5_cm3) AS n2_5_cm3,
	iif(typeof(n5_cm3) = 'integer', n5_cm3 / 100.0, n5_cm3) AS n5_cm3,
	iif(typeof(n10_cm3) = 'integer', n10_cm3 / 100.0, n10_cm3) AS n10_cm3,
	iif(typeof(nPM0_5_cm3) = 'integer', nPM0_5_cm3 / 100.0, nPM0_5_cm3) AS nPM0_5_cm3,
	iif(typeof(nPM1_0_cm3) = 'integer', nPM1_0_cm3 / 100.0, nPM1_0_cm3) AS nPM1_0_cm3,
	iif(typeof(nPM2_5_cm3) = 'integer', nPM2_5_cm3 / 100.0, nPM2_5_cm3) AS nPM2_5_cm3,
	iif(typeof(nPM4_0_cm3) = 'integer', nPM4_0_cm3 / 100.0, nPM4_0_cm3) AS nPM4_0_cm3,
	iif(typeof(nPM10_cm3) = 'integer', nPM10_cm3 / 100.0, nPM10_cm3) AS nPM10_cm3,
	iif(typeof(typical_size_um) = 'integer', typical_size_um / 100.0, typical_size_um) AS typical_size_um,
	iif(typeof(rh_percent) = 'integer', rh_percent / 100.0, rh_percent) AS rh_percent,
	iif(typeof(temperature_c) = 'integer', temperature_c / 100.0, temperature_c) AS temperature_c,
	iif(typeof(formaldehyde_mg_m3) = 'integer', formaldehyde_mg_m3 / 100.0, formaldehyde_mg_m3) AS formaldehyde_mg_m3
FROM unsealed;
