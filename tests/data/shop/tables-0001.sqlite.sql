BEGIN TRANSACTION;
CREATE TABLE about (
	name TEXT NOT NULL, 
	value TEXT NOT NULL, 
	CONSTRAINT pk_about PRIMARY KEY (name)
);
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0001');
CREATE TABLE audit (
	id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	at FLOAT NOT NULL, 
	person INTEGER, 
	device INTEGER, 
	what TEXT NOT NULL, 
	"where" TEXT NOT NULL, 
	detail TEXT NOT NULL, 
	CONSTRAINT fk_audit_person FOREIGN KEY(person) REFERENCES people (id), 
	CONSTRAINT fk_audit_device FOREIGN KEY(device) REFERENCES devices (id)
);
CREATE TABLE cars (
	id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	label TEXT NOT NULL, 
	client TEXT NOT NULL, 
	words TEXT NOT NULL, 
	visit INTEGER, 
	opened_s FLOAT NOT NULL
);
INSERT INTO "cars" VALUES(1,'Señor blue estate','Ana','senor blue estate ana',1,11.0);
CREATE TABLE devices (
	id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	person INTEGER NOT NULL, 
	label TEXT NOT NULL, 
	key_hash TEXT NOT NULL, 
	made FLOAT NOT NULL, 
	seen FLOAT, 
	revoked FLOAT, 
	CONSTRAINT uq_devices_key_hash UNIQUE (key_hash), 
	CONSTRAINT fk_devices_person FOREIGN KEY(person) REFERENCES people (id)
);
CREATE TABLE dossiers (
	visit INTEGER NOT NULL, 
	head INTEGER NOT NULL, 
	body BLOB NOT NULL, 
	CONSTRAINT pk_dossiers PRIMARY KEY (visit), 
	CONSTRAINT fk_dossiers_visit FOREIGN KEY(visit) REFERENCES visits (id)
);
INSERT INTO "dossiers" VALUES(1,2,X'FF646F7373696572');
CREATE TABLE facts (
	id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	visit INTEGER NOT NULL, 
	"key" TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	field TEXT NOT NULL, 
	body TEXT NOT NULL, 
	base INTEGER, 
	made_s FLOAT, 
	at_s FLOAT NOT NULL, 
	device INTEGER, 
	person TEXT NOT NULL, 
	CONSTRAINT ck_facts_kind CHECK (kind IN ('set', 'add', 'drop')), 
	CONSTRAINT uq_facts_visit_key UNIQUE (visit, "key"), 
	CONSTRAINT fk_facts_visit FOREIGN KEY(visit) REFERENCES visits (id), 
	CONSTRAINT fk_facts_device FOREIGN KEY(device) REFERENCES devices (id)
);
INSERT INTO "facts" VALUES(1,1,'l1','set','car.length','"4500 mm"',NULL,12.5,13.0,NULL,'Bo');
INSERT INTO "facts" VALUES(2,1,'n1','add','note','{"panel":"roof","text":"µm"}',NULL,NULL,13.0,NULL,'Bo');
INSERT INTO "facts" VALUES(3,1,'d1','drop','note/n1','null',2,NULL,13.0,NULL,'Bo');
CREATE TABLE findings (
	"key" TEXT NOT NULL, 
	body BLOB NOT NULL, 
	made FLOAT NOT NULL, 
	CONSTRAINT pk_findings PRIMARY KEY ("key")
);
INSERT INTO "findings" VALUES('8254c329a92850f6d539dd376f4816ee2764517da5e0235514af433164480d7a',X'00666F756E64',1.79561144343837380404e+09);
CREATE TABLE links (
	id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	token_hash TEXT NOT NULL, 
	visit INTEGER NOT NULL, 
	expires FLOAT NOT NULL, 
	revoked FLOAT, 
	made_by INTEGER, 
	CONSTRAINT uq_links_token_hash UNIQUE (token_hash), 
	CONSTRAINT fk_links_visit FOREIGN KEY(visit) REFERENCES visits (id), 
	CONSTRAINT fk_links_made_by FOREIGN KEY(made_by) REFERENCES people (id)
);
CREATE TABLE pairings (
	code_hash TEXT NOT NULL, 
	role TEXT NOT NULL, 
	person INTEGER, 
	expires FLOAT NOT NULL, 
	used FLOAT, 
	CONSTRAINT pk_pairings PRIMARY KEY (code_hash), 
	CONSTRAINT fk_pairings_person FOREIGN KEY(person) REFERENCES people (id)
);
CREATE TABLE people (
	id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	name TEXT NOT NULL, 
	role TEXT NOT NULL, 
	password_hash TEXT, 
	lang TEXT NOT NULL, 
	units TEXT NOT NULL, 
	made FLOAT NOT NULL, 
	revoked FLOAT, 
	CONSTRAINT ck_people_role CHECK (role IN ('owner', 'detailer', 'learner', 'client'))
);
CREATE TABLE photos (
	digest TEXT NOT NULL, 
	visit INTEGER NOT NULL, 
	media TEXT NOT NULL, 
	width INTEGER NOT NULL, 
	height INTEGER NOT NULL, 
	bytes INTEGER NOT NULL, 
	at_s FLOAT NOT NULL, 
	CONSTRAINT pk_photos PRIMARY KEY (digest, visit), 
	CONSTRAINT fk_photos_visit FOREIGN KEY(visit) REFERENCES visits (id)
);
INSERT INTO "photos" VALUES('55c64d0fcd6f9d5f7c828093857e3fdfda68478bb4e9bd24d481ef391c7804e8',1,'image/png',4,3,5,14.0);
CREATE TABLE pictures (
	"key" TEXT NOT NULL, 
	digest TEXT NOT NULL, 
	made FLOAT NOT NULL, 
	CONSTRAINT pk_pictures PRIMARY KEY ("key")
);
CREATE TABLE visits (
	id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	car INTEGER NOT NULL, 
	opened_s FLOAT NOT NULL, 
	head INTEGER NOT NULL, 
	summary TEXT NOT NULL, 
	CONSTRAINT fk_visits_car FOREIGN KEY(car) REFERENCES cars (id)
);
INSERT INTO "visits" VALUES(1,1,11.0,3,'inspected');
CREATE INDEX ix_cars_opened_s ON cars (opened_s, id);
CREATE INDEX ix_visits_car ON visits (car, id);
CREATE INDEX ix_devices_person ON devices (person);
CREATE INDEX ix_links_visit ON links (visit);
CREATE INDEX ix_audit_at ON audit (at);
CREATE INDEX ix_facts_visit ON facts (visit, id);
CREATE INDEX ix_photos_visit ON photos (visit);
CREATE INDEX ix_pictures_digest ON pictures (digest);
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('cars',1);
INSERT INTO "sqlite_sequence" VALUES('visits',1);
INSERT INTO "sqlite_sequence" VALUES('facts',3);
COMMIT;
