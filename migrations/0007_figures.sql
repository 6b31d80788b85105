-- What a day came to is worked out from its noons when it is asked for, and kept in
-- memory: nothing of it stands in the store.
DROP TABLE day_result;
