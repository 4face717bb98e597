

SET statement_timeout = 0;
SET lock_timeout = 0;
SET idle_in_transaction_session_timeout = 0;
SET client_encoding = 'UTF8';
SET standard_conforming_strings = on;
SELECT pg_catalog.set_config('search_path', '', false);
SET check_function_bodies = false;
SET xmloption = content;
SET client_min_messages = warning;
SET row_security = off;

SET default_tablespace = '';

SET default_table_access_method = heap;

CREATE TABLE public.about (
    name text NOT NULL,
    value text NOT NULL
);

CREATE TABLE public.alembic_version (
    version_num character varying(32) NOT NULL
);

CREATE TABLE public.audit (
    id bigint NOT NULL,
    at double precision NOT NULL,
    person bigint,
    device bigint,
    what text NOT NULL,
    "where" text NOT NULL,
    detail text NOT NULL
);

CREATE SEQUENCE public.audit_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;

ALTER SEQUENCE public.audit_id_seq OWNED BY public.audit.id;

CREATE TABLE public.cars (
    id bigint NOT NULL,
    label text NOT NULL,
    client text NOT NULL,
    words text NOT NULL,
    visit bigint,
    opened_s double precision NOT NULL
);

CREATE SEQUENCE public.cars_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;

ALTER SEQUENCE public.cars_id_seq OWNED BY public.cars.id;

CREATE TABLE public.devices (
    id bigint NOT NULL,
    person bigint NOT NULL,
    label text NOT NULL,
    key_hash text NOT NULL,
    made double precision NOT NULL,
    seen double precision,
    revoked double precision
);

CREATE SEQUENCE public.devices_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;

ALTER SEQUENCE public.devices_id_seq OWNED BY public.devices.id;

CREATE TABLE public.dossiers (
    visit bigint NOT NULL,
    head bigint NOT NULL,
    body bytea NOT NULL
);

CREATE TABLE public.facts (
    id bigint NOT NULL,
    visit bigint NOT NULL,
    key text NOT NULL,
    kind text NOT NULL,
    field text NOT NULL,
    body text NOT NULL,
    base bigint,
    made_s double precision,
    at_s double precision NOT NULL,
    device bigint,
    person text NOT NULL,
    CONSTRAINT ck_facts_kind CHECK ((kind = ANY (ARRAY['set'::text, 'add'::text, 'drop'::text])))
);

CREATE SEQUENCE public.facts_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;

ALTER SEQUENCE public.facts_id_seq OWNED BY public.facts.id;

CREATE TABLE public.findings (
    key text NOT NULL,
    body bytea NOT NULL,
    made double precision NOT NULL
);

CREATE TABLE public.links (
    id bigint NOT NULL,
    token_hash text NOT NULL,
    visit bigint NOT NULL,
    expires double precision NOT NULL,
    revoked double precision,
    made_by bigint
);

CREATE SEQUENCE public.links_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;

ALTER SEQUENCE public.links_id_seq OWNED BY public.links.id;

CREATE TABLE public.pairings (
    code_hash text NOT NULL,
    role text NOT NULL,
    person bigint,
    expires double precision NOT NULL,
    used double precision
);

CREATE TABLE public.people (
    id bigint NOT NULL,
    name text NOT NULL,
    role text NOT NULL,
    password_hash text,
    lang text NOT NULL,
    units text NOT NULL,
    made double precision NOT NULL,
    revoked double precision,
    CONSTRAINT ck_people_role CHECK ((role = ANY (ARRAY['owner'::text, 'detailer'::text, 'learner'::text, 'client'::text])))
);

CREATE SEQUENCE public.people_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;

ALTER SEQUENCE public.people_id_seq OWNED BY public.people.id;

CREATE TABLE public.photos (
    digest text NOT NULL,
    visit bigint NOT NULL,
    media text NOT NULL,
    width integer NOT NULL,
    height integer NOT NULL,
    bytes bigint NOT NULL,
    at_s double precision NOT NULL
);

CREATE TABLE public.pictures (
    key text NOT NULL,
    digest text NOT NULL,
    made double precision NOT NULL
);

CREATE TABLE public.visits (
    id bigint NOT NULL,
    car bigint NOT NULL,
    opened_s double precision NOT NULL,
    head bigint NOT NULL,
    summary text NOT NULL
);

CREATE SEQUENCE public.visits_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;

ALTER SEQUENCE public.visits_id_seq OWNED BY public.visits.id;

ALTER TABLE ONLY public.audit ALTER COLUMN id SET DEFAULT nextval('public.audit_id_seq'::regclass);

ALTER TABLE ONLY public.cars ALTER COLUMN id SET DEFAULT nextval('public.cars_id_seq'::regclass);

ALTER TABLE ONLY public.devices ALTER COLUMN id SET DEFAULT nextval('public.devices_id_seq'::regclass);

ALTER TABLE ONLY public.facts ALTER COLUMN id SET DEFAULT nextval('public.facts_id_seq'::regclass);

ALTER TABLE ONLY public.links ALTER COLUMN id SET DEFAULT nextval('public.links_id_seq'::regclass);

ALTER TABLE ONLY public.people ALTER COLUMN id SET DEFAULT nextval('public.people_id_seq'::regclass);

ALTER TABLE ONLY public.visits ALTER COLUMN id SET DEFAULT nextval('public.visits_id_seq'::regclass);

INSERT INTO public.alembic_version VALUES ('0001');

INSERT INTO public.cars VALUES (1, 'Señor blue estate', 'Ana', 'senor blue estate ana', 1, 11);

INSERT INTO public.dossiers VALUES (1, 2, '\xff646f7373696572');

INSERT INTO public.facts VALUES (1, 1, 'l1', 'set', 'car.length', '"4500 mm"', NULL, 12.5, 13, NULL, 'Bo');
INSERT INTO public.facts VALUES (2, 1, 'n1', 'add', 'note', '{"panel":"roof","text":"µm"}', NULL, NULL, 13, NULL, 'Bo');
INSERT INTO public.facts VALUES (3, 1, 'd1', 'drop', 'note/n1', 'null', 2, NULL, 13, NULL, 'Bo');

INSERT INTO public.findings VALUES ('8254c329a92850f6d539dd376f4816ee2764517da5e0235514af433164480d7a', '\x00666f756e64', 1795611446.910254);

INSERT INTO public.photos VALUES ('55c64d0fcd6f9d5f7c828093857e3fdfda68478bb4e9bd24d481ef391c7804e8', 1, 'image/png', 4, 3, 5, 14);

INSERT INTO public.visits VALUES (1, 1, 11, 3, 'inspected');

SELECT pg_catalog.setval('public.audit_id_seq', 1, false);

SELECT pg_catalog.setval('public.cars_id_seq', 1, true);

SELECT pg_catalog.setval('public.devices_id_seq', 1, false);

SELECT pg_catalog.setval('public.facts_id_seq', 3, true);

SELECT pg_catalog.setval('public.links_id_seq', 1, false);

SELECT pg_catalog.setval('public.people_id_seq', 1, false);

SELECT pg_catalog.setval('public.visits_id_seq', 1, true);

ALTER TABLE ONLY public.alembic_version
    ADD CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num);

ALTER TABLE ONLY public.about
    ADD CONSTRAINT pk_about PRIMARY KEY (name);

ALTER TABLE ONLY public.audit
    ADD CONSTRAINT pk_audit PRIMARY KEY (id);

ALTER TABLE ONLY public.cars
    ADD CONSTRAINT pk_cars PRIMARY KEY (id);

ALTER TABLE ONLY public.devices
    ADD CONSTRAINT pk_devices PRIMARY KEY (id);

ALTER TABLE ONLY public.dossiers
    ADD CONSTRAINT pk_dossiers PRIMARY KEY (visit);

ALTER TABLE ONLY public.facts
    ADD CONSTRAINT pk_facts PRIMARY KEY (id);

ALTER TABLE ONLY public.findings
    ADD CONSTRAINT pk_findings PRIMARY KEY (key);

ALTER TABLE ONLY public.links
    ADD CONSTRAINT pk_links PRIMARY KEY (id);

ALTER TABLE ONLY public.pairings
    ADD CONSTRAINT pk_pairings PRIMARY KEY (code_hash);

ALTER TABLE ONLY public.people
    ADD CONSTRAINT pk_people PRIMARY KEY (id);

ALTER TABLE ONLY public.photos
    ADD CONSTRAINT pk_photos PRIMARY KEY (digest, visit);

ALTER TABLE ONLY public.pictures
    ADD CONSTRAINT pk_pictures PRIMARY KEY (key);

ALTER TABLE ONLY public.visits
    ADD CONSTRAINT pk_visits PRIMARY KEY (id);

ALTER TABLE ONLY public.devices
    ADD CONSTRAINT uq_devices_key_hash UNIQUE (key_hash);

ALTER TABLE ONLY public.facts
    ADD CONSTRAINT uq_facts_visit_key UNIQUE (visit, key);

ALTER TABLE ONLY public.links
    ADD CONSTRAINT uq_links_token_hash UNIQUE (token_hash);

CREATE INDEX ix_audit_at ON public.audit USING btree (at);

CREATE INDEX ix_cars_opened_s ON public.cars USING btree (opened_s, id);

CREATE INDEX ix_devices_person ON public.devices USING btree (person);

CREATE INDEX ix_facts_visit ON public.facts USING btree (visit, id);

CREATE INDEX ix_links_visit ON public.links USING btree (visit);

CREATE INDEX ix_photos_visit ON public.photos USING btree (visit);

CREATE INDEX ix_pictures_digest ON public.pictures USING btree (digest);

CREATE INDEX ix_visits_car ON public.visits USING btree (car, id);

ALTER TABLE ONLY public.audit
    ADD CONSTRAINT fk_audit_device FOREIGN KEY (device) REFERENCES public.devices(id);

ALTER TABLE ONLY public.audit
    ADD CONSTRAINT fk_audit_person FOREIGN KEY (person) REFERENCES public.people(id);

ALTER TABLE ONLY public.devices
    ADD CONSTRAINT fk_devices_person FOREIGN KEY (person) REFERENCES public.people(id);

ALTER TABLE ONLY public.dossiers
    ADD CONSTRAINT fk_dossiers_visit FOREIGN KEY (visit) REFERENCES public.visits(id);

ALTER TABLE ONLY public.facts
    ADD CONSTRAINT fk_facts_device FOREIGN KEY (device) REFERENCES public.devices(id);

ALTER TABLE ONLY public.facts
    ADD CONSTRAINT fk_facts_visit FOREIGN KEY (visit) REFERENCES public.visits(id);

ALTER TABLE ONLY public.links
    ADD CONSTRAINT fk_links_made_by FOREIGN KEY (made_by) REFERENCES public.people(id);

ALTER TABLE ONLY public.links
    ADD CONSTRAINT fk_links_visit FOREIGN KEY (visit) REFERENCES public.visits(id);

ALTER TABLE ONLY public.pairings
    ADD CONSTRAINT fk_pairings_person FOREIGN KEY (person) REFERENCES public.people(id);

ALTER TABLE ONLY public.photos
    ADD CONSTRAINT fk_photos_visit FOREIGN KEY (visit) REFERENCES public.visits(id);

ALTER TABLE ONLY public.visits
    ADD CONSTRAINT fk_visits_car FOREIGN KEY (car) REFERENCES public.cars(id);

