-- Which letters are due is asked before every one that is sent.
create index letters_by_state on letters (state, due_at)
