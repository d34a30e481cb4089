-- Lines that come into the house or leave it, by part: how much there was day by day is summed from
-- these alone, and most lines only go from place to place. Accounts 1 to 6 are outside.
CREATE INDEX movement_line_in_or_out ON movement_line (part_id)
WHERE (from_id > 6) <> (to_id > 6);
