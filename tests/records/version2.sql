-- A history file of version 2, as SQL: never edit it.
PRAGMA application_id = 1650812272;
BEGIN TRANSACTION;
CREATE TABLE alarm (
        id INTEGER PRIMARY KEY,
        span INTEGER NOT NULL REFERENCES span (id),
        number INTEGER NOT NULL,
        began TEXT NOT NULL, began_offset INTEGER NOT NULL);
INSERT INTO "alarm" VALUES(1,1,1,'2026-01-10T22:00:00.000000Z',60);
CREATE TABLE beep (
            id INTEGER PRIMARY KEY,
            span INTEGER NOT NULL REFERENCES span (id),
            onset REAL, duration REAL, frequency REAL, level REAL, snr REAL);
INSERT INTO "beep" VALUES(1,1,3600.0,1.2,2730.0,-40.0,12.0);
CREATE TABLE gap (
        id INTEGER PRIMARY KEY,
        span INTEGER NOT NULL REFERENCES span (id),
        began TEXT NOT NULL, began_offset INTEGER NOT NULL,
        ended TEXT NOT NULL, ended_offset INTEGER NOT NULL,
        reason TEXT NOT NULL);
INSERT INTO "gap" VALUES(1,1,'2026-01-10T23:00:00.000000Z',60,'2026-01-10T23:01:00.000000Z',60,'microphone unplugged');
CREATE TABLE heartbeat (
        span INTEGER PRIMARY KEY REFERENCES span (id),
        until TEXT NOT NULL, until_offset INTEGER NOT NULL,
        lost REAL NOT NULL);
INSERT INTO "heartbeat" VALUES(1,'2026-01-11T05:00:00.000000Z',60,0.5);
INSERT INTO "heartbeat" VALUES(2,'2026-01-11T05:20:10.000000Z',60,0.0);
CREATE TABLE migration (number INTEGER PRIMARY KEY, name TEXT NOT NULL, applied TEXT NOT NULL);
INSERT INTO "migration" VALUES(1,'first','2026-01-10T20:59:00.000000+00:00');
INSERT INTO "migration" VALUES(2,'second','2026-01-12T20:59:00.000000+00:00');
CREATE TABLE span (
        id INTEGER PRIMARY KEY,
        kind TEXT NOT NULL,
        source TEXT NOT NULL,
        began TEXT NOT NULL, began_offset INTEGER NOT NULL);
INSERT INTO "span" VALUES(1,'household','USB microphone','2026-01-10T21:00:00.000000Z',60);
INSERT INTO "span" VALUES(2,'recording','kitchen.wav','2026-01-11T05:20:00.000000Z',60);
CREATE TABLE span_end (
        span INTEGER PRIMARY KEY REFERENCES span (id),
        ended TEXT NOT NULL, ended_offset INTEGER NOT NULL);
INSERT INTO "span_end" VALUES(1,'2026-01-11T05:00:00.000000Z',60);
CREATE TABLE state (
        id INTEGER PRIMARY KEY,
        alarm INTEGER NOT NULL REFERENCES alarm (id),
        kind TEXT NOT NULL,
        at TEXT NOT NULL, at_offset INTEGER NOT NULL,
        after REAL,
        pattern TEXT, priority TEXT, onset REAL, raised REAL, ended REAL, last REAL, beeps INTEGER,
        duration REAL, period REAL, frequency REAL, confidence REAL, why TEXT);
INSERT INTO "state" VALUES(1,1,'raised','2026-01-10T22:00:11.400000Z',60,NULL,'lead-disconnect','high',3600.0,3611.4,NULL,3611.2,3,1.2,5.0,2730.0,0.98,'3 beeps of 1.2 s, one every 5.0 s (12 a minute), all at 2.73 kHz');
INSERT INTO "state" VALUES(2,1,'woken','2026-01-10T22:00:11.500000Z',60,0.1,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "state" VALUES(3,1,'changed','2026-01-10T22:00:16.300000Z',60,NULL,'lead-disconnect','high',3600.0,3611.4,NULL,3616.2,4,1.2,5.0,2730.0,0.98,'3 beeps of 1.2 s, one every 5.0 s (12 a minute), all at 2.73 kHz');
INSERT INTO "state" VALUES(4,1,'acknowledged','2026-01-10T22:00:40.000000Z',60,28.6,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "state" VALUES(5,1,'ended','2026-01-10T22:00:26.200000Z',60,NULL,'lead-disconnect','high',3600.0,3611.4,3626.2,3626.2,6,1.2,5.0,2730.0,0.98,'3 beeps of 1.2 s, one every 5.0 s (12 a minute), all at 2.73 kHz');
CREATE INDEX span_by_time ON span (kind, began);
CREATE INDEX gap_by_span ON gap (span);
CREATE INDEX alarm_by_time ON alarm (began);
CREATE INDEX alarm_by_span ON alarm (span);
CREATE INDEX state_by_alarm ON state (alarm, kind);
CREATE TRIGGER span_refuses_update BEFORE UPDATE ON span BEGIN SELECT RAISE(ABORT, 'the history is append-only'); END;
CREATE TRIGGER span_refuses_delete BEFORE DELETE ON span BEGIN SELECT RAISE(ABORT, 'the history is append-only'); END;
CREATE TRIGGER span_end_refuses_update BEFORE UPDATE ON span_end BEGIN SELECT RAISE(ABORT, 'the history is append-only'); END;
CREATE TRIGGER span_end_refuses_delete BEFORE DELETE ON span_end BEGIN SELECT RAISE(ABORT, 'the history is append-only'); END;
CREATE TRIGGER gap_refuses_update BEFORE UPDATE ON gap BEGIN SELECT RAISE(ABORT, 'the history is append-only'); END;
CREATE TRIGGER gap_refuses_delete BEFORE DELETE ON gap BEGIN SELECT RAISE(ABORT, 'the history is append-only'); END;
CREATE TRIGGER alarm_refuses_update BEFORE UPDATE ON alarm BEGIN SELECT RAISE(ABORT, 'the history is append-only'); END;
CREATE TRIGGER alarm_refuses_delete BEFORE DELETE ON alarm BEGIN SELECT RAISE(ABORT, 'the history is append-only'); END;
CREATE TRIGGER state_refuses_update BEFORE UPDATE ON state BEGIN SELECT RAISE(ABORT, 'the history is append-only'); END;
CREATE TRIGGER state_refuses_delete BEFORE DELETE ON state BEGIN SELECT RAISE(ABORT, 'the history is append-only'); END;
CREATE INDEX beep_by_time ON beep (span, onset);
CREATE TRIGGER beep_refuses_update BEFORE UPDATE ON beep BEGIN SELECT RAISE(ABORT, 'the history is append-only'); END;
CREATE TRIGGER beep_refuses_delete BEFORE DELETE ON beep BEGIN SELECT RAISE(ABORT, 'the history is append-only'); END;
COMMIT;
