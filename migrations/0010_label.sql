-- What the codes on labels begin with: the address under which phones reach this service.
ALTER TABLE venue ADD COLUMN label_base TEXT NOT NULL DEFAULT ''
    CONSTRAINT venue_label_base CHECK (length(label_base) <= 60);
