BEGIN TRANSACTION;
CREATE TABLE attachment (
	sha256 VARCHAR NOT NULL, 
	size INTEGER NOT NULL, 
	media_type VARCHAR NOT NULL, 
	name VARCHAR NOT NULL, 
	added DATETIME NOT NULL, 
	PRIMARY KEY (sha256)
);
CREATE TABLE board (
	id INTEGER NOT NULL, 
	name VARCHAR NOT NULL, 
	sha256 VARCHAR NOT NULL, 
	added DATETIME NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(sha256) REFERENCES attachment (sha256)
);
CREATE TABLE entry (
	id INTEGER NOT NULL, 
	job VARCHAR NOT NULL, 
	seq INTEGER NOT NULL, 
	at DATETIME NOT NULL, 
	who VARCHAR NOT NULL, 
	stage VARCHAR NOT NULL, 
	kind VARCHAR NOT NULL, 
	body JSON NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (job, seq), 
	FOREIGN KEY(job) REFERENCES job (number)
);
INSERT INTO "entry" VALUES(1,'26-0001-B',1,'2026-03-04 09:30:00.000000','R. Tansy','receive','job','{"customer":"O. Penhallow","contact":"o@example.org","serial":"SR-00231"}');
INSERT INTO "entry" VALUES(2,'26-0001-B',2,'2026-03-04 09:30:00.000000','R. Tansy','receive','note','{"text":"Leaked cell"}');
INSERT INTO "entry" VALUES(3,'26-0001-B',3,'2026-03-04 09:30:00.000000','R. Tansy','receive','void','{"seq":2}');
CREATE TABLE job (
	number VARCHAR NOT NULL, 
	year INTEGER NOT NULL, 
	counter INTEGER NOT NULL, 
	created DATETIME NOT NULL, 
	PRIMARY KEY (number), 
	UNIQUE (year, counter)
);
INSERT INTO "job" VALUES('26-0001-B',2026,1,'2026-03-04 09:30:00.000000');
CREATE TABLE meta (
	"key" VARCHAR NOT NULL, 
	value VARCHAR NOT NULL, 
	PRIMARY KEY ("key")
);
INSERT INTO "meta" VALUES('schema','1');
CREATE TABLE person (
	name VARCHAR NOT NULL, 
	phrase_hash VARCHAR NOT NULL, 
	added DATETIME NOT NULL, 
	PRIMARY KEY (name)
);
CREATE TABLE reference_image (
	id INTEGER NOT NULL, 
	name VARCHAR NOT NULL, 
	sums JSON NOT NULL, 
	note VARCHAR NOT NULL, 
	who VARCHAR NOT NULL, 
	added DATETIME NOT NULL, 
	PRIMARY KEY (id)
);
CREATE TABLE signed_in (
	token_sha256 VARCHAR NOT NULL, 
	person VARCHAR NOT NULL, 
	since DATETIME NOT NULL, 
	used DATETIME NOT NULL, 
	PRIMARY KEY (token_sha256), 
	FOREIGN KEY(person) REFERENCES person (name)
);
CREATE INDEX ix_entry_kind ON entry (kind);
CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry BEGIN SELECT RAISE(ABORT, 'entries are only ever added'); END;
CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry BEGIN SELECT RAISE(ABORT, 'entries are only ever added'); END;
CREATE INDEX ix_board_name ON board (name);
COMMIT;
