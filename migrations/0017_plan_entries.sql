-- Whether anything happened that a plan depends on is asked several times a second; evidence comes far more often than that.
CREATE INDEX journal_entry_planned ON journal_entry (shop, position)
    WHERE kind NOT LIKE 'plan.%' AND kind NOT LIKE 'evidence.%' AND kind NOT LIKE 'cautions.%';
