"""The vocabulary, part two: what stands on a pantry shelf or in a refrigerator."""

from __future__ import annotations

from recipes.engine.change_kinds import Kind

PANTRY: tuple[tuple[Kind, str], ...] = (
    (
        Kind.SPICE,
        """spice, dry spice, dried spice, dried herb, dry herb, seasoning, pickling spice, mixed spice, allspice,
        anise, anise seed, star anise, annatto, bay leaf, bay, caraway, caraway seed, cardamom, cassia, cayenne,
        celery seed, celery salt, chili powder, chili flake, red chili flake, dried chili flake, dried red pepper
        flake, dried chili, dried chili pepper, ground chili, crushed red pepper, red pepper flake, hot pepper
        flake, pepper flake, crushed chili, chipotle powder, ancho powder, cinnamon, cinnamon stick, clove, whole
        clove, ground clove, coriander seed, ground coriander, cumin, cumin seed, curry powder, dill seed, fennel
        seed, fenugreek, five spice, garam masala, garlic powder, garlic granule, granulated garlic, garlic salt,
        ground ginger, powdered ginger, ginger powder, dried ginger, juniper berry, juniper, mace, mustard seed, dry
        mustard, mustard powder, ground mustard, nutmeg, onion powder, onion salt, granulated onion, oregano leaf,
        paprika, smoked paprika, black pepper, white pepper, ground pepper, ground black pepper, cracked pepper,
        peppercorn, black peppercorn, pink peppercorn, szechuan peppercorn, sichuan pepper, lemon pepper, pumpkin
        spice, pumpkin pie spice, apple pie spice, poppy seed, saffron, sumac, turmeric, vanilla bean, vanilla pod,
        vanilla powder, italian seasoning, herbes de provence, old bay, taco seasoning, chili seasoning, zaatar,
        liquorice root, asafoetida, nigella, ajwain, grains of paradise, ground cinnamon, ground sage, ground thyme,
        ground oregano, ground rosemary, ground marjoram, ground bay, dried mint, ground nutmeg, ground allspice,
        ground turmeric, ground cumin, mixed dried herb""",
    ),
    (
        Kind.FLAVOUR,
        """extract, flavoring, flavor, vanilla, vanilla extract, almond extract, lemon extract, orange extract, mint
        extract, peppermint extract, rum extract, maple extract, rose water, rosewater, orange blossom water, orange
        flower water, liquid smoke, essential oil, zest, lemon zest, lime zest, orange zest, citrus zest, grapefruit
        zest, lemon peel, lime peel, orange peel, citrus peel, grated lemon rind, lemon rind, orange rind""",
    ),
    (
        Kind.COLOUR,
        "color, food color, food coloring, coloring, food dye, red food color, green food color, yellow food color",
    ),
    (
        Kind.JUICE,
        """juice, fruit juice, apple juice, apple cider, sweet cider, cider, white grape juice, grape juice, orange
        juice, pineapple juice, cranberry juice, pear juice, cherry juice, pomegranate juice, berry juice,
        grapefruit juice, peach nectar, nectar, peach juice, plum juice, orange juice concentrate, apple juice
        concentrate, grape juice concentrate, juice concentrate, strawberry juice, raspberry juice, blueberry juice,
        own juice, unsweetened juice, fruit nectar""",
    ),
    (
        Kind.CITRUS_JUICE,
        "lemon juice, lime juice, lemon or lime juice, citrus juice, key lime juice",
    ),
    (Kind.CITRIC, "citric acid, citric acid powder, sour salt"),
    (
        Kind.VINEGAR,
        """vinegar, white vinegar, distilled vinegar, white distilled vinegar, distilled white vinegar, cider vinegar,
        apple cider vinegar, acv, wine vinegar, red wine vinegar, white wine vinegar, rice vinegar, rice wine
        vinegar, malt vinegar, balsamic vinegar, balsamic, white balsamic vinegar, sherry vinegar, champagne
        vinegar, spirit vinegar, pickling vinegar, cleaning vinegar, coconut vinegar, black vinegar, raspberry
        vinegar, herb vinegar, tarragon vinegar, homemade vinegar, kombucha vinegar, cane vinegar, fruit vinegar,
        seasoned rice vinegar""",
    ),
    (
        Kind.OTHER_ACID,
        """cream of tartar, tartaric acid, ascorbic acid, vitamin c, malic acid, lactic acid, acetic acid, phosphoric
        acid, acid blend, tamarind, verjus, verjuice, sumac water, lemonade, limeade, kombucha, pickle juice, pickle
        brine, buttermilk whey, fruit fresh, lemon drink, lemon powder, orange drink""",
    ),
    (
        Kind.ALKALI,
        """baking soda, bicarbonate of soda, bicarb, sodium bicarbonate, baking powder, pickling lime, slaked lime,
        calcium hydroxide, hydrated lime, quicklime, lye, potash, washing soda, chalk, calcium carbonate, wood ash,
        antacid""",
    ),
    (Kind.FIRMING, "calcium chloride, crisping granule, pickle crisp, firming agent, calcium chloride granule"),
    (Kind.ALUM, "alum"),
    (
        Kind.SUGAR,
        """sugar, white sugar, granulated sugar, cane sugar, beet sugar, brown sugar, light brown sugar, dark brown
        sugar, raw sugar, turbinado, turbinado sugar, demerara, demerara sugar, muscovado, caster sugar, castor
        sugar, superfine sugar, table sugar, organic sugar, jam sugar, preserving sugar, palm sugar, jaggery,
        panela, piloncillo, rapadura, fructose, dextrose, glucose, sweetener, golden caster sugar""",
    ),
    (
        Kind.SYRUP,
        "honey, clover honey, light honey, raw honey, corn syrup, light corn syrup, golden syrup, "
        "glucose syrup, dark corn syrup, invert sugar, rice syrup, simple syrup, sugar syrup, "
        "syrup",
    ),
    (
        Kind.OTHER_SWEET,
        """maple syrup, maple sugar, molasses, treacle, sorghum, agave, agave syrup, agave nectar, date syrup, coconut
        sugar, brown rice syrup, date sugar, barley malt, malt syrup, birch syrup, powdered sugar, icing sugar,
        confectioners sugar, vanilla sugar, marshmallow, caramel, toffee, dulce de leche, candy, jello, gelatin
        dessert, coconut nectar, yacon syrup""",
    ),
    (
        Kind.NO_SUGAR_SWEET,
        """sucralose, stevia, erythritol, xylitol, monk fruit, monkfruit, monk fruit sweetener, allulose,
        aspartame, equal, saccharin, acesulfame, cyclamate, artificial sweetener, sugar substitute, non nutritive
        sweetener, noncaloric sweetener, sugar replacement, no calorie sweetener, sugar alcohol, maltitol, sorbitol,
        swerve, truvia, low calorie sweetener, zero calorie sweetener""",
    ),
    (
        Kind.SALT,
        "salt, canning salt, pickling salt, canning and pickling salt, table salt, iodized salt, "
        "plain salt, sodium chloride, sodium, fine salt, non iodized salt",
    ),
    (
        Kind.COARSE_SALT,
        "kosher salt, coarse kosher salt, sea salt, flake salt, coarse salt, himalayan salt, pink "
        "salt, himalayan pink salt, fleur de sel, smoked salt, flaked salt",
    ),
    (
        Kind.SALT_SUBSTITUTE,
        "salt substitute, lite salt, light salt, low sodium salt, reduced sodium salt, potassium "
        "chloride, salt replacement",
    ),
    (
        Kind.UNFIT_SALT,
        "rock salt, ice cream salt, road salt, water softener salt, epsom salt, solar salt, pool "
        "salt, curing salt, pink curing salt, saltpeter, nitrite",
    ),
    (Kind.PECTIN, "pectin, fruit pectin, homemade pectin, bulk pectin"),
    (Kind.LIQUID_PECTIN, "liquid pectin, liquid fruit pectin, pectin liquid"),
    (
        Kind.POWDERED_PECTIN,
        "powdered pectin, dry pectin, pectin powder, regular pectin, classic pectin, powdered "
        "fruit pectin, regular powdered pectin, sure jell",
    ),
    (
        Kind.LOW_SUGAR_PECTIN,
        "lowsugar pectin, lowsugar powdered pectin, modified pectin, lm pectin, pomona pectin, "
        "instant pectin, freezer pectin, freezer jam pectin, lite pectin, light pectin",
    ),
    (
        Kind.STARCH,
        """starch, flour, wheat flour, all purpose flour, plain flour, rice flour, corn flour, cornflour, cornstarch,
        corn starch, potato starch, tapioca, tapioca starch, tapioca flour, instant tapioca, arrowroot, roux,
        thickener, cornmeal, corn meal, masa, semolina, almond flour, coconut flour, potato flake, bisto, gravy mix,
        gravy, instant clear jel, instant clearjel, instant modified starch, instant starch, custard powder, pudding
        mix, cracker crumb, bread crumb, breadcrumb, beurre manie""",
    ),
    (
        Kind.MODIFIED_STARCH,
        "modified starch, cook type modified starch, clear jel, clearjel, cook type clear jel, "
        "modified corn starch, modified cornstarch, modified food starch, canning starch, "
        "permaflo, perma flo",
    ),
    (
        Kind.GUM,
        "gelatin, gelatine, agar, agar agar, carrageenan, xanthan, xanthan gum, guar gum, gum, "
        "gum arabic, chia, chia seed, psyllium, flaxseed, flax seed, flax, basil seed, konjac, "
        "glucomannan",
    ),
    (Kind.BUTTER, "butter, margarine, salted butter, unsalted butter"),
    (
        Kind.OIL,
        """oil, olive oil, vegetable oil, canola oil, sunflower oil, avocado oil, sesame oil, coconut oil, chili oil,
        garlic oil, herb oil, truffle oil, shortening, crisco, lard, fat, bacon fat, bacon grease, duck fat,
        schmaltz, suet, tallow, ghee, herb in oil, garlic in oil, dressing, salad dressing, vinaigrette, corn oil,
        peanut oil""",
    ),
    (
        Kind.DAIRY,
        """dairy, milk, whole milk, skim milk, cream, heavy cream, double cream, whipping cream, sour cream, creme
        fraiche, halfandhalf, buttermilk, yogurt, cheese, cheddar, parmesan, mozzarella, feta, ricotta, goat cheese,
        cream cheese, mascarpone, cottage cheese, blue cheese, paneer, condensed milk, sweetened condensed milk,
        evaporated milk, whey, ice cream, custard, ranch, alfredo, kefir, milk powder, powdered milk, coconut milk,
        coconut cream, almond milk, soy milk, oat milk, cream soup, whipped cream, lemon curd, curd, white sauce,
        bechamel""",
    ),
    (
        Kind.EGG,
        "egg, egg yolk, egg white, hard boiled egg, pickled egg, quail egg, boiled egg, "
        "mayonnaise, mayo, meringue, aioli, hollandaise",
    ),
    (
        Kind.MEAT,
        """meat, beef, ground beef, hamburger, mince, minced meat, steak, veal, pork, ham, bacon, bacon bit, sausage,
        chorizo, pepperoni, salami, prosciutto, pancetta, lamb, mutton, venison, game, elk, moose, bear, rabbit,
        chicken, chicken breast, turkey, duck, goose, poultry, liver, organ meat, tripe, bone, meatball, jerky, hot
        dog, frankfurter, brisket, bone marrow, blood""",
    ),
    (
        Kind.FISH,
        """fish, salmon, smoked salmon, smoked fish, tuna, mackerel, sardine, anchovy, herring, trout, cod, halibut,
        catfish, eel, shark, caviar, roe, shellfish, shrimp, prawn, crab, lobster, crayfish, clam, oyster, mussel,
        scallop, squid, octopus, snail, seafood, fish sauce, oyster sauce, anchovy paste""",
    ),
    (
        Kind.NUT,
        """nut, mixed nut, almond, walnut, pecan, hazelnut, filbert, cashew, pistachio, macadamia, brazil nut, pine
        nut, chestnut, acorn, peanut butter, almond butter, nut butter, tahini, sesame, sesame seed, sunflower seed,
        pumpkin seed, pepita, hemp seed, nutella""",
    ),
    (
        Kind.GRAIN,
        """pasta, noodle, egg noodle, macaroni, spaghetti, penne, lasagna, ravioli, dumpling, rice, brown rice, white
        rice, wild rice, barley, pearl barley, oat, oatmeal, rolled oat, quinoa, couscous, bulgur, wheat, wheat
        berry, farro, millet, buckwheat, rye, amaranth, grain, grits, polenta, orzo, vermicelli, ramen, gnocchi,
        spelt, granola, cereal, corn chip, tortilla""",
    ),
    (
        Kind.BREAD,
        "bread, cake, cookie, biscuit, crouton, cracker, pie crust, dough, batter, cake mix, "
        "stuffing, zucchini bread, banana bread, quick bread, sponge",
    ),
    (
        Kind.CHOCOLATE,
        "chocolate, cocoa, cocoa powder, cacao, chocolate chip, white chocolate, dark chocolate, cacao nib",
    ),
    (
        Kind.ALCOHOL,
        """alcohol, liquor, liqueur, spirit, booze, bourbon, whiskey, whisky, rum, brandy, cognac, vodka, gin, tequila,
        wine, red wine, white wine, port, sherry, champagne, prosecco, beer, ale, stout, hard cider, amaretto,
        kirsch, triple sec, grand marnier, cointreau, limoncello, schnapps, mead, sake, vermouth, absinthe, mirin,
        moonshine""",
    ),
    (Kind.WATER, "water, ice, boiling water, tap water, distilled water, brine, salt water, sparkling water"),
    (
        Kind.BROTH,
        "broth, stock, chicken broth, beef broth, vegetable broth, chicken stock, beef stock, "
        "vegetable stock, bone broth, bouillon, bouillon cube, stock cube, dashi, consomme",
    ),
    (
        Kind.SAUCE,
        """sauce, soy sauce, tamari, worcestershire, worcestershire sauce, hot sauce, tabasco, sriracha, ketchup,
        catsup, mustard, yellow mustard, prepared mustard, dijon, dijon mustard, barbecue sauce, bbq sauce, salsa,
        hoisin, teriyaki, steak sauce, enchilada sauce, pasta sauce, marinara, curry paste, tomato salsa, chutney,
        relish, harissa, gochujang, sambal, adobo, adobo sauce, cranberry relish, pizza sauce, pepper sauce""",
    ),
    (
        Kind.DRINK,
        "coffee, espresso, tea, black tea, green tea, earl grey, cola, soda pop, soda water, soft "
        "drink, ginger ale, root beer, energy drink, matcha, chai, coconut water, lemon soda",
    ),
    (
        Kind.ADDITIVE,
        "aspirin, canning powder, canning compound, preservative, sodium benzoate, potassium "
        "sorbate, salicylic acid, borax, boric acid, campden tablet, sulfite, canning tablet, "
        "tomato canning tablet, protein powder, collagen, charcoal, activated charcoal, cbd, "
        "cannabis, yeast, vegemite, marmite, bee pollen, propolis, enzyme, probiotic, culture, "
        "msg, monosodium glutamate",
    ),
    (
        Kind.READY,
        "soup, stew, chili con carne, casserole, curry, pizza, burrito, leftover, stuffed pepper, "
        "spaghetti sauce with meat, meat sauce, potato salad, bean salad, coleslaw, jambalaya, "
        "gumbo, pot roast, pot pie, pie, haggis, pate, pudding",
    ),
)
