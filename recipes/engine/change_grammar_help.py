"""The grammar of changes, for people: the command's help and the documentation print this."""

GRAMMAR_HELP = """\
A change is written as people say it, or in the strict form beside it. Capital letters, accents, "please",
"can I" and a question mark do not matter. Amounts are as in recipes: 1/2 tsp, 2 1/4 cups, 1.5 kg.

  less or more     sugar 7 cups -> 5 cups      ITEM AMOUNT UNIT -> AMOUNT UNIT
                   sugar -25%   salt -50%      ITEM -N%   ITEM +N%   ITEM xN
                   less sugar   more garlic    less ITEM   more ITEM   halve the ITEM
                   reduce sugar by a third     reduce ITEM by PART|AMOUNT, to AMOUNT
  nothing of it    omit salt   no garlic       omit ITEM   (also: leave out, skip, without, no)
  something new    add onions 1 cup            add ITEM [AMOUNT UNIT]   (a food alone means the same)
  in its place     swap vinegar -> bottled lemon juice   swap ITEM -> ITEM
                   honey for sugar             NEW for OLD   (also: NEW instead of OLD, replace OLD with NEW)
                   canned for fresh            frozen, canned, dried, fresh, bottled for another form
                   use brown sugar             use ITEM [AMOUNT]
  vinegar          vinegar 4 % acidity         vinegar N %
  jar and pack     jar quart   smaller jar     jar SIZE   pack hot|raw
  pot              pot x2   halve the pot      pot xN
  canner           canner steam                canner steam|pressure|boiling-water   (or: method WORD)
  process          process 10 minutes          process MINUTES   process 5 minutes less   skip processing
                   10 psi                      pressure PSI   headspace 1/4 inch
  ways of working  practice bands tight        open kettle, oven, invert jars, paraffin wax, reuse lids ...

Several wishes in one text are judged together: "omit salt and add garlic". Swap A for B is read by what the
recipe has; where it has both, both directions are judged. An amount of acid "per quart" or "in each pint" is
compared where the recipe states one for that jar. A text with any word that was not understood is refused, never
guessed; so is one that speaks of acid with "half", "only" or "a little". Say one thing at a time."""
