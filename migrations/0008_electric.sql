-- What the electrics of a set rest on and no catalogue tells: how far a supply stands from its
-- driver, and the mains circuit that the supplies hang on, where one is named.

ALTER TABLE venue ADD COLUMN feed_um INTEGER NOT NULL DEFAULT 1000000
    CONSTRAINT venue_feed CHECK (feed_um BETWEEN 0 AND 100000000);
ALTER TABLE venue ADD COLUMN mains_mv INTEGER
    CONSTRAINT venue_mains CHECK (mains_mv BETWEEN 100000 AND 250000);
ALTER TABLE venue ADD COLUMN breaker_ma INTEGER
    CONSTRAINT venue_breaker CHECK ((breaker_ma IS NULL) = (mains_mv IS NULL)
        AND (breaker_ma IS NULL OR breaker_ma BETWEEN 1000 AND 125000));
ALTER TABLE venue ADD COLUMN continuous_percent INTEGER NOT NULL DEFAULT 80
    CONSTRAINT venue_continuous CHECK (continuous_percent BETWEEN 1 AND 100);
