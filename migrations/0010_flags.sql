-- A flag is kept by its name alone, to find the runs to look at; what it says of a run
-- is made from the run when it is asked for. Derived, like reduction.

CREATE TABLE run_flag_new (
    run BIGINT NOT NULL REFERENCES run (id),
    flag TEXT NOT NULL,                   -- stable name
    PRIMARY KEY (run, flag)
);
INSERT INTO run_flag_new (run, flag) SELECT run, flag FROM run_flag ORDER BY run, flag;
DROP TABLE run_flag;
ALTER TABLE run_flag_new RENAME TO run_flag;
