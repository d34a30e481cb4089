-- Feeds and mains are known.
UPDATE venue SET feed_um = 2000000, mains_mv = 230000, breaker_ma = 16000, continuous_percent = 80, version = version + 1;
