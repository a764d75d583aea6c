-- The message of a letter, compressed; null once it was let go.
select message from letters
where letter_id = $letter_id
