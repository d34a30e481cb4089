-- Things in the order in which a search lists them, R-9 before R-10: it looks only as far as it shows.
CREATE INDEX thing_by_tag_order ON thing (length(tag), tag);
