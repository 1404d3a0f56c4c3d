-- Schema 7: what is on its way to a webhook is called a delivery, as on the wire.
ALTER TABLE letter RENAME TO delivery;
DROP INDEX letter_of_lane;
DROP INDEX letter_of_news;
CREATE INDEX delivery_of_lane ON delivery (webhook, dead, lane, news);
CREATE INDEX delivery_of_news ON delivery (news);
