"""The vocabulary, part one: what grows. Words in any number; `change_foods` brings both sides to one form."""

from __future__ import annotations

from recipes.engine.change_kinds import Kind

PLANTS: tuple[tuple[Kind, str], ...] = (
    (
        Kind.VEGETABLE,
        """vegetable, veg, veggie, mixed vegetables, root vegetable, low acid vegetable, greens, leafy greens,
        asparagus, artichoke, artichoke heart, jerusalem artichoke, sunchoke, aubergine, eggplant, bamboo shoot,
        bean sprout, sprout, beet, beets, beetroot, bok choy, pak choi, broccoli, broccolini, rapini, brussels
        sprout, brussel sprout, cabbage, red cabbage, napa cabbage, savoy cabbage, kimchi, sauerkraut, cardoon,
        carrot, baby carrot, cauliflower, cassava, yuca, manioc, yucca root, celeriac, celery root, celery, celery
        stalk, celery rib, chard, swiss chard, chayote, chicory, collard, collard green, corn, sweet corn, baby
        corn, maize, corn kernel, corn on the cob, cream style corn, creamed corn, corn cob, hominy, cucumber,
        gherkin, pickle, dill pickle, daikon, dandelion green, dandelion leaf, endive, escarole, fennel, fennel
        bulb, fiddlehead, grape leaf, kale, kohlrabi, lettuce, lotus root, mushroom, button mushroom, portobello,
        shiitake, chanterelle, morel, porcini, truffle, mustard green, beet green, turnip green, nettle, nopal,
        cactus pad, okra, palm heart, parsnip, plantain, potato, white potato, red potato, sweet potato, yam, taro,
        poi, purslane, radish, radicchio, rocket, arugula, rutabaga, swede, salsify, sea vegetable, seaweed, nori,
        kelp, sorrel, spinach, turnip, water chestnut, watercress, jicama, olive, black olive, green olive, kalamata
        olive, caper, sun dried tomato, dried tomato, tomato leaf, rhubarb leaf, dried mushroom, dried vegetable,
        vegetable powder, dehydrated vegetable, bitter melon, luffa, tomato seed""",
    ),
    (
        Kind.ALLIUM,
        """onion, white onion, red onion, yellow onion, sweet onion, brown onion, green onion, spring onion, pearl
        onion, cipollini, cipollini onion, vidalia, vidalia onion, scallion, shallot, leek, ramp, wild garlic,
        garlic, garlic clove, clove of garlic, head of garlic, garlic scape, black garlic, elephant garlic, chive,
        garlic chive, fried onion, dried onion, onion flake, dried minced onion, minced onion, dehydrated onion,
        dried garlic, minced garlic, garlic flake, garlic paste, onion soup mix, french onion""",
    ),
    (
        Kind.PEPPER,
        """peppers, pepper pod, bell pepper, sweet pepper, capsicum, green pepper, red pepper, yellow pepper, orange
        pepper, hot pepper, mild pepper, chili, green chili, red chili, long green chili, chili pepper, hot chili,
        fresh chili, jalapeno, jalapeno pepper, serrano, serrano pepper, habanero, habanero pepper, scotch bonnet,
        ghost pepper, carolina reaper, reaper, cayenne pepper, poblano, poblano pepper, pasilla pepper, anaheim,
        anaheim pepper, anaheim chili, hatch chili, hatch pepper, new mexico chili, banana pepper, hungarian wax
        pepper, wax pepper, cubanelle, pimento, pimiento, pepperoncini, shishito, thai chili, thai pepper, bird eye
        chili, birds eye chili, fresno, fresno chili, fresno pepper, cherry pepper, tabasco pepper, aji, aji
        amarillo, mini pepper, roasted pepper, pickled jalapeno, chipotle in adobo, chipotle pepper, paprika pepper""",
    ),
    (
        Kind.SUMMER_SQUASH,
        """zucchini, courgette, summer squash, yellow squash, crookneck, crookneck squash, pattypan, marrow, squash
        blossom""",
    ),
    (
        Kind.PUMPKIN,
        """pumpkin, winter squash, butternut, butternut squash, acorn squash, hubbard, hubbard squash, kabocha,
        delicata, spaghetti squash, squash, gourd, pumpkin pie filling""",
    ),
    (
        Kind.PUREE,
        """pumpkin puree, pumpkin butter, mashed pumpkin, squash puree, mashed squash, squash butter, mashed potato,
        potato puree, refried bean, hummus, bean dip, bean paste, mashed banana, banana puree, vegetable puree,
        carrot puree, beet puree, pea puree, sweet potato puree, mashed sweet potato, sweet potato butter, avocado
        puree, guacamole, pesto, tapenade, baby food, corn puree, onion puree, roasted garlic puree, baba ganoush,
        puree, mash""",
    ),
    (
        Kind.LEGUME,
        """bean, beans, black bean, kidney bean, pinto bean, pinto, navy bean, white bean, cannellini, cannellini bean,
        great northern bean, butter bean, lima bean, lima, fava bean, broad bean, garbanzo, garbanzo bean, chickpea,
        lentil, red lentil, split pea, pea, green pea, english pea, snow pea, sugar snap pea, snap pea, mangetout,
        black eyed pea, field pea, cowpea, soybean, soya bean, edamame, mung bean, adzuki bean, baked bean, green
        bean, string bean, snap bean, wax bean, yellow bean, yellow wax bean, runner bean, french bean, italian
        bean, haricot, dried bean, dried pea, tofu, tempeh, miso, natto, peanut, lupin, dal""",
    ),
    (
        Kind.FRESH_ROOT,
        """ginger, fresh ginger, ginger root, gingerroot, galangal, fresh turmeric, turmeric root, horseradish, fresh
        horseradish, horseradish root, prepared horseradish, wasabi, lemongrass, lemon grass, ginger paste, ginseng""",
    ),
    (
        Kind.TOMATO,
        """tomato, ripe tomato, red tomato, yellow tomato, orange tomato, paste tomato, plum tomato, roma, roma tomato,
        san marzano, slicing tomato, beefsteak, beefsteak tomato, heirloom tomato, cherry tomato, grape tomato,
        salad tomato, italian tomato""",
    ),
    (Kind.GREEN_TOMATO, "green tomato, unripe tomato, tomatillo, tomatillos verdes, husk tomato"),
    (
        Kind.TOMATO_PRODUCT,
        """tomato paste, tomato puree, tomato sauce, passata, tomato juice, canned tomato, stewed tomato, crushed
        tomato, tomato powder, tomato soup, tomato concentrate, vegetable juice, clamato""",
    ),
    (
        Kind.FRUIT,
        """fruit, berry, mixed berry, mixed fruit, other fruit, stone fruit, soft fruit, citrus, strawberry, raspberry,
        red raspberry, black raspberry, blackberry, dewberry, boysenberry, loganberry, tayberry, marionberry,
        youngberry, blueberry, huckleberry, bilberry, cranberry, lingonberry, gooseberry, currant, red currant,
        black currant, white currant, redcurrant, blackcurrant, jostaberry, apple, crab apple, crabapple, cooking
        apple, quince, pear, bartlett pear, bosc pear, peach, yellow peach, nectarine, yellow nectarine, apricot,
        plum, prune plum, damson, greengage, sour cherry, sweet cherry, tart cherry, pie cherry, cherry, bing
        cherry, grape, concord grape, muscadine, scuppernong, seedless grape, orange, mandarin, tangerine,
        clementine, satsuma, blood orange, seville orange, grapefruit, pomelo, kumquat, calamondin, pineapple,
        rhubarb, kiwi, kiwifruit, pomegranate, pomegranate seed, mayhaw, chokecherry, aronia, chokeberry, sea
        buckthorn, cloudberry, salmonberry, serviceberry, saskatoon, saskatoon berry, haskap, honeyberry,
        elderflower, rose hip, rosehip, passion fruit, passionfruit, guava, applesauce, apple sauce, mixed fruit,
        pluot, sloe, cranberry sauce, jam, jelly, marmalade""",
    ),
    (
        Kind.BORDERLINE,
        """fig, fresh fig, asian pear, nashi, mango, green mango, ripe mango, papaya, mulberry, lychee, litchi, longan,
        loquat, ground cherry, cape gooseberry, starfruit, carambola, dragon fruit, pitaya, prickly pear, cactus
        pear, cactus fruit, tamarillo, feijoa, pawpaw, rambutan, mangosteen, acerola, acai, goji berry""",
    ),
    (
        Kind.LOW_FRUIT,
        """banana, plantain banana, melon, watermelon, watermelon rind, cantaloupe, muskmelon, honeydew, honeydew
        melon, casaba, rockmelon, coconut, coconut flake, shredded coconut, desiccated coconut, elderberry, white
        peach, white fleshed peach, white flesh peach, white nectarine, white fleshed nectarine, white flesh
        nectarine, persimmon, avocado, date, jackfruit, durian, breadfruit, sapote, sapodilla, custard apple,
        cherimoya, soursop, guanabana, black sapote, jujube""",
    ),
    (
        Kind.CITRUS,
        """lemon, lime, lemon slice, lime slice, lemon wedge, lime wedge, whole lemon, whole lime, meyer lemon, key
        lime, lemon pulp, lemon half, lime half, preserved lemon, citron, yuzu""",
    ),
    (
        Kind.DRIED_FRUIT,
        """raisin, golden raisin, sultana, dried cranberry, craisin, dried cherry, dried apricot, dried apple, prune,
        dried plum, dried fig, dried date, dried mango, dried currant, zante currant, dried fruit, dried blueberry,
        candied fruit, candied peel, candied ginger, crystallized ginger, crystallised ginger, fruit leather, mixed
        peel""",
    ),
    (
        Kind.HERB,
        """herb, fresh herb, basil, thai basil, oregano, thyme, lemon thyme, rosemary, sage, marjoram, savory,
        tarragon, dill, dill head, dill weed, dillweed, dill frond, fennel frond, parsley, parsley leaf, cilantro,
        coriander, coriander leaf, culantro, mint, mint leaf, spearmint, peppermint, lemon balm, lemon verbena,
        lavender, lavender flower, rose petal, rose geranium, chervil, lovage, borage, epazote, curry leaf, kaffir
        lime leaf, lime leaf, shiso, perilla, bouquet garni, hibiscus, violet, nasturtium, edible flower, woodruff,
        hyssop, bee balm, stevia leaf, basil leaf, pine needle, spruce tip, hop""",
    ),
)
