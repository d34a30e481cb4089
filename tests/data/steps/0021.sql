-- The batch of offcuts is noted after the cut, and that they were touched with it.
UPDATE piece SET batch = 'K7' WHERE parent_id IS NOT NULL;
